"""Words of ``firstglow incoming``: how capacitors are tested, by the way it is done, and what can be tried of other parts."""

from collections.abc import Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from firstglow.amplifier.model import Part

TITLES = {
    "meter in its lead": "CAPACITORS, the meter in one lead",
    "resistor in its lead": "CAPACITORS ON A RAIL, a resistor in one lead",
    "supply of its own": "CAPACITORS ON A SUPPLY OF THEIR OWN",
    "battery": "LOW-VOLT CAPACITORS, on a battery",
    "insulation tester": "CAPACITORS ON THE MAINS",
    "rating unknown": "NOT TESTED, no volts told: what these stand is not in the file",
    "no volts": "NOT TESTED: no dc stands across them here",
}
STEPS = {
    "meter in its lead": (
        "  1. Plug out, made safe. Its lead that is named comes off; the other stays.",
        "  2. Meter on dc volts, begun on a range above 'up to' (its leads and clips too:",
        "     that stands there until the valves are warm): one clip on the free lead,",
        "     one where it came from. On, the amplifier as the row says, lamp out.",
        "  3. The meter jumps and falls; range down. After the wait, what it shows: good",
        "     under the first figure, never fitted over the second; between, in doubt:",
        "     warm it for a quarter of an hour; if it still rises, do not fit it.",
        "  4. Off, made safe; the capacitor too: 10 kohm across it, below 10 V, read.",
    ),
    "resistor in its lead": (
        "  1. Plug out, made safe. Its lead that is named comes off its rail.",
        "  2. The resistor (rated for the volts) between rail and free lead, the meter",
        "     across the resistor, begun on a range above 'up to' (leads and clips too).",
        "     Plus to plus: an electrolytic the wrong way round bursts. On, valves out as",
        "     the row says, lamp out.",
        "  3. It charges, then the reading falls; a short shows all the volts. After the",
        "     wait, volts across the resistor: good under the first figure, never fitted",
        "     over the second; between, or with an old one, leave it on while it falls;",
        "     off when it rises or gets warm.",
        "  4. Off, made safe; the capacitor too: 10 kohm across it, below 10 V, read.",
    ),
    "supply of its own": (
        "  The rail of the others hangs on it, ac stands at it, more stands in its place",
        "  than it is made for, or several make one. Out of the amplifier, each alone: a",
        "  dc supply of the volts below that holds a short to 5 mA (on no other",
        "  amplifier's rail). A proved one of the same farads, and volts enough for the",
        "  place, may do its work meanwhile.",
        "  1. Supply off and at 0. Supply plus, resistor (rated for the volts), capacitor",
        "     plus, capacitor minus, supply minus; the meter across the resistor, begun",
        "     on a range above the volts below. It may burst: cover it.",
        "  2. Supply up. It charges, then the reading falls; a short shows all the volts.",
        "     After the wait, volts across the resistor: good under the first figure,",
        "     never fitted over the second; between, or with an old one, leave it on",
        "     while it falls; off when it rises or gets warm.",
        "  3. Supply off; 10 kohm across the capacitor, below 10 V, read, and again after",
        "     a minute, before the clips come off.",
    ),
    "battery": (
        "  Out of the amplifier or one lead off: battery or small dc supply, the resistor",
        "  and the capacitor (plus to plus) in series, the meter across the resistor.",
        "  After the wait, volts across the resistor: good under the first figure, never",
        "  fitted over the second.",
    ),
    "insulation tester": (
        "  Out of the amplifier, an insulation tester at 500 V dc across it for a minute,",
        "  then discharged through 10 kohm. A hand meter's ohms only find a short. Class",
        "  X or Y must stand on its case; without it, it is not fitted here at all.",
    ),
    "rating unknown": (
        "  Look on the can or sleeve for V, VDC or WV (SURGE beside it is not it), plug",
        "  out, discharged. Say it in its line of the file, with the figure found:",
        '  { volts = "450V" }; then this page has its test. Not to be read: it is replaced,',
        "  neither tried nor reformed (firstglow parts says by what).",
    ),
    "no volts": (),
}  # fmt: skip

TRY = {
    "selenium": (
        "a diode range says nothing: its plates ask for more than the range has. Out, or one lead off, discharged: 12 V dc "
        "through 1 kohm. Forward it drops a volt a plate at most (common practice), reversed the supply's volts stand on it. Both "
        "ways all of them: open; none either way: shorted, never fitted. How far it has aged only its rail tells (firstglow "
        "standing). Overheated it gives off poisonous fumes; firstglow parts says what goes in its place"
    ),
    "diode": (
        "one lead off, discharged: on the diode range 0.4 to 0.8 V one way and OL the other (silicon, common practice). The same "
        "both ways: never fitted. The volts it stands are in its type number alone"
    ),
    "fuse": "ohms from cap to cap under 1 ohm (small ones a few), and its cap read: T or F, amps, L or H, volts. No meter tells its amps",
    "switch": "plug out, discharged, one lead off: closed under 0.1 ohm or what the meter's own leads show, open OL; ten times each",
    "choke": "its dc ohms against the file's; winding to core with an insulation tester at 500 V, out. Ohms show no shorted turns",
    "pot": "end to end within 20 % of its mark (common practice); from the wiper to one end no jump and no OL through all of its turn",
}  # fmt: skip


def beside(parts: "tuple[Part, ...]") -> Iterator[str]:
    """What can be tried of parts that have no limits of this amplifier."""
    if parts:
        yield "\nOTHER PARTS, no limits of this amplifier: what can be tried"
    for part in parts:
        kind = "selenium" if part.type == "selenium" else part.kind
        named = f"{part.name} ({kind if kind == part.kind else f'{kind} {part.kind}'})"
        yield f"  {named}: {TRY[kind]}."
