"""Amplifiers with one odd thing each, made from the plainest topology: kinds that the random ones do not have.

Invented scenarios; nothing here is a check value.
"""

from collections.abc import Callable
from dataclasses import replace

from topologies import PLAIN, build

from builders import Builder, Leads
from firstglow.amplifier.model import Amplifier, IdleTarget, Quantity
from winding_builders import turned, winding


def without(b: Builder, *names: str) -> None:
    for name in names:
        del b.parts[name]


def moved(b: Builder, name: str, **leads: str) -> None:
    """A part with some of its leads on other joints; lead names with a space are written with an underscore."""
    new = {lead.replace("_", " "): joint for lead, joint in leads.items()}
    part = b.parts[name]
    b.parts[name] = replace(part, leads={**part.leads, **new})


def more_windings(b: Builder, joints: Leads, *windings: object) -> None:
    """Windings added to T1."""
    part = b.parts["T1"]
    leads = {lead: f"T1 {lead}" for w in windings for lead in (w.start, w.end)} | dict(joints)  # type: ignore[attr-defined]
    b.parts["T1"] = replace(part, windings=(*part.windings, *windings), leads={**part.leads, **leads})  # type: ignore[arg-type]


def followers(b: Builder) -> None:
    """A cathode follower on each output grid, its grid held by the bias."""
    for n, section, valve in ((0, "V7a", "V3"), (1, "V7b", "V4")):
        without(b, f"C{10 + n}", f"R{50 + n}")
        drive = ("V1b plate", "V1b cathode")[n]
        b.capacitor(f"C{10 + n}", drive, f"{section} grid", 0.1e-6, 630.0, "film")
        b.resistor(f"R{50 + n}", f"{section} grid", f"{valve} bias", 220e3)
        b.triode(section, "12AT7", "HT1", f"{section} grid", f"{valve} grid", "V7")
        b.resistor(f"R{54 + n}", f"{valve} grid", "bias raw", 100e3, watts=1.0)
    b.heater("V7", "12AT7", "T1 heat 1", "T1 heat 1", "T1 heat 2")


def balance(b: Builder) -> None:
    """One control for the pair and a balance between them."""
    without(b, "P1", "P2", "R40", "R41")
    b.pot("P8", "bias", "bias set", "bias foot", 25e3, position=0.0)
    b.resistor("R31", "bias foot", "chassis", 33e3)
    b.pot("P7", "V3 bias", "bias set", "V4 bias", 10e3)
    for valve, n in (("V3", 0), ("V4", 1)):
        b.resistor(f"R{42 + n}", f"{valve} bias", "chassis", 220e3)
        b.idle[valve] = IdleTarget(valve, Quantity(0.02), pot="P8")


def grounded_cathodes(b: Builder) -> None:
    """Nothing in the output cathodes."""
    without(b, "R80", "R81")
    for valve in ("V3", "V4"):
        moved(b, valve, cathode="chassis")


def gas_tube(b: Builder) -> None:
    """Screens from a stabilised rail."""
    b.resistor("R97", "HT1", "screens", 3.3e3, watts=5.0)
    b.add(
        "V8", "gas tube", {"anode": "screens", "cathode": "chassis"}, "0A2", volts=150.0, amps_min=0.005, amps_max=0.03
    )
    for n in (0, 1):
        moved(b, f"R{60 + n}", **{"1": "screens"})


def screen_supply(b: Builder) -> None:
    """A silicon supply of its own for the screens beside the valve-rectified HT."""
    more_windings(b, {"screen 2": "chassis"}, winding("screen", "screen 1", "screen 2", 200.0, 60.0, 0.05))
    b.diode("D5", "T1 screen 1", "screens")
    b.capacitor("C26", "screens", "chassis", 33e-6, 450.0)
    b.resistor("R98", "screens", "chassis", 220e3, watts=1.0)
    for n in (0, 1):
        moved(b, f"R{60 + n}", **{"1": "screens"})


def bias_through_capacitor(b: Builder) -> None:
    """Bias from one HT leg through a capacitor."""
    without(b, "D9")
    part = b.parts["T1"]
    kept = tuple(w for w in part.windings if w.name != "bias")
    b.parts["T1"] = replace(part, windings=kept, leads={k: v for k, v in part.leads.items() if "bias" not in k})
    b.capacitor("C33", "T1 ht 1", "pump", 47e-9, 630.0, "film")
    b.diode("D9", "bias raw", "pump")
    b.diode("D8", "pump", "chassis")


def two_primaries(b: Builder) -> None:
    """Two primaries in series."""
    part = b.parts["T1"]
    first = next(w for w in part.windings if w.role == "primary")
    halves = (
        replace(first, name="primary a", start="primary 1", end="middle a"),
        replace(first, name="primary b", start="middle b", end="primary 2"),
    )
    halved = tuple(replace(w, turns=replace(w.turns, value=w.turns.value / 2)) for w in halves)
    rest = tuple(w for w in part.windings if w.role != "primary")
    b.parts["T1"] = replace(
        part, windings=(*halved, *rest), leads={**part.leads, "middle a": "middle", "middle b": "middle"}
    )


def tapped_primary(b: Builder) -> None:
    """A selector's taps on one primary, the highest in use."""
    part = b.parts["T1"]
    first = next(w for w in part.windings if w.role == "primary")
    low = replace(first, name="primary low", end="tap", turns=replace(first.turns, value=117.0))
    high = replace(first, name="primary high", start="tap", turns=replace(first.turns, value=113.0))
    rest = tuple(w for w in part.windings if w.role != "primary")
    b.parts["T1"] = replace(part, windings=(low, high, *rest), leads={**part.leads, "tap": "T1 tap"})
    b.floating.add("T1 tap")


def filaments(b: Builder) -> None:
    """A directly heated output triode on its own filament winding, hum pot in the cathode path."""
    without(b, "V3", "V3 heater", "R60", "R80")
    more_windings(b, {}, winding("fil", "fil 1", "fil 2", 5.3, 0.05, 1.5))
    b.section("V3", "300B", {"plate": "T2 plate a", "grid": "V3 grid", "cathode": "T1 fil 1"})
    b.heater("V3", "300B", "T1 fil 1", "T1 fil 2")
    b.pot("P6", "T1 fil 1", "filament", "T1 fil 2", 100.0)
    b.resistor("R80", "filament", "chassis", 10.0, test=True)


def selenium_ht(b: Builder) -> None:
    """Selenium where the valve rectifier was."""
    without(b, "V9", "V9 heater")
    b.diode("D1", "T1 ht 1", "HT raw", "selenium", volts=800.0, plates=20.0)
    b.diode("D2", "T1 ht 2", "HT raw", "selenium", volts=800.0, plates=20.0)


def dc_heaters(b: Builder) -> None:
    """The first valve's heater on a rectified winding."""
    more_windings(b, {}, winding("dc", "dc 1", "dc 2", 7.0, 0.2, 1.0))
    for n, (a, k) in enumerate(
        (("T1 dc 1", "hot"), ("T1 dc 2", "hot"), ("chassis", "T1 dc 1"), ("chassis", "T1 dc 2"))
    ):
        b.diode(f"D{20 + n}", a, k, amps=3.0, volts=100.0)
    b.capacitor("C60", "hot", "chassis", 10e-3, 16.0)
    without(b, "V1 heater")
    b.heater("V1", "12AX7", "hot", "hot", "chassis")


def triode_pentodes(b: Builder) -> None:
    """The gain stage in the output valve's own glass."""
    without(b, "V1a", "V1b", "V1 heater", "C2", "R3", "R4", "R5", "R6", "R7", "C10", "V3", "V3 heater")
    b.section("V3t", "ECL86", {"plate": "V3t plate", "grid": "V1 grid", "cathode": "V3t cathode"}, "V3")
    b.resistor("R3", "HT2", "V3t plate", 100e3)
    b.resistor("R4", "V3t cathode", "chassis", 1.5e3)
    b.capacitor("C10", "V3t plate", "V3 grid", 0.1e-6, 630.0, "film")
    b.section(
        "V3p", "ECL86", {"plate": "T2 plate a", "grid": "V3 grid", "cathode": "V3 cathode", "screen": "V3 screen"}, "V3"
    )
    b.add("V3 heater", "heater", {"1": "T1 heat 1", "2": "T1 heat 2"}, "ECL86", envelope="V3", volts=6.3, amps=0.7)
    moved(b, "R9", **{"2": "V3t cathode"})
    b.parts["T2"] = replace(b.parts["T2"], windings=turned(b.parts["T2"].windings))  # one stage less


ODDITIES: dict[str, tuple[Callable[[Builder], None], dict[str, object]]] = {
    "coupled_driver": (followers, {}),
    "balance_pot": (balance, {}),
    "grounded_cathode": (grounded_cathodes, {}),
    "gas_tube": (gas_tube, {}),
    "several_rails": (screen_supply, {}),
    "bias_capacitor": (bias_through_capacitor, {}),
    "several_primaries": (two_primaries, {}),
    "selector": (tapped_primary, {}),
    "direct_output": (filaments, {"output": "single-ended", "bias": "fixed"}),
    "selenium_ht": (selenium_ht, {}),
    "dc_heaters": (dc_heaters, {}),
}


def oddity(kind: str) -> Amplifier:
    """The amplifier that shows one kind."""
    spoil, choice = ODDITIES[kind]
    return build(replace(PLAIN, **choice), f"Odd: {kind}", spoil)  # type: ignore[arg-type]
