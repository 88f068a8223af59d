"""The twelve dangers as faults of each example, where each may be stopped at the latest, and what an eye answers.

Section 8 of the house's ladder reference names for each danger the first row of its reference readings that must stop
it; ROWS says which of our readings that row is (patterns of reading ids). All of it common practice unless marked.
"""

from dataclasses import dataclass, field

from firstglow.amplifier.situation import Fault

# Row of the reference readings -> our readings ({part}: the part at fault). "intake" is the look at every valve first.
ROWS: dict[str, tuple[str, ...]] = {
    "intake": ("0/types/*",),
    "5": ("1/HT* to minus/*", "1/HT* to HT*"),
    "7": ("1/* grid leak/*",),
    "8": ("1/* bias joint *",),
    "11": ("1/* turns to *",),
    "12": ("2a/lamp at 30 %/*", "2a/mains amps at 30 %/*"),
    "13": ("2a/* heater pin to pin/*", "2a/T1 heat * to chassis/*"),
    "15": ("2a/* leg *",),
    "18": ("2a/bias raw reservoir/*",),
    "19": ("3/* grid end *",),
    "20": ("3/* grid at most negative/*", "3/* bias joint/*"),
    "21": ("4/lamp/*", "4*/HT1 after *"),
    "24": ("4/* screen/*",),
    "28": ("5/HT*",),
    "31": ("5/* coupling leak/*", "5/V? grid/*"),
    "32": ("5/* grid at most negative/*", "5/V? grid/*"),
    "33": ("5/{part} in the hand/*",),
    "34": ("6*/{part} cathode lamp in/*",),
    "40": ("7/LS polarity/*",),
    "43": ("9/HT* ripple/*",),
}


@dataclass(frozen=True)
class Planted:
    """One danger in one amplifier.

    rows: what section 8 names, first and else; only the first that this amplifier's ladder has binds. hot: the row that
    binds where everything read unplugged is passed over (the fault came after, or only shows under power); None where
    section 8 names no powered row. looks: patterns of looks that the fault answers with no.
    """

    danger: str
    fault: Fault
    rows: tuple[str, ...]
    hot: str | None
    looks: tuple[str, ...] = field(default=())

    @property
    def name(self) -> str:
        """For the test's id."""
        f = self.fault
        return f"{f.part} {f.mode}" + ("" if f.value is None else f" {f.value:g}")


def _valve(name: str, touching: str | None = "34") -> tuple[Planted, ...]:
    # a short is in the hand as well: 1 ohm where the base drawing has no link (the fault table's words)
    hand = (f"5/{name} in the hand/*",)
    return tuple(
        Planted("output valve shorted", Fault(name, mode), ("33", "34"), hot, hand)
        for mode, hot in (("grid to cathode", "34"), ("plate to screen", touching))
    )


def _common(leak: str, screen: str, coupling: str, tap: float, bias: str = "32") -> tuple[Planted, ...]:
    # tap: mains volts that the wrong tap is marked for. bias: cathode bias has no rows 19 and 20; its stand-in under
    # power is each grid pin at 0 V with the small valves warm (section 6), which is where row 32 stands
    return (
        Planted("coupling capacitor leaking", Fault(coupling, "leaks", 500e3), ("31",), "31"),
        Planted("shorted heater winding", Fault("T1", "heat a shorted"), ("12",), "12"),
        Planted("wrong mains tap", Fault("T1", "wrong tap", tap), ("13",), "13"),
        Planted("output grid without bias", Fault(leak, "open"), ("7", "19", "20"), bias),
        Planted("screen resistor open", Fault(screen, "open"), ("5", "24"), "24"),
        Planted("loop reversed", Fault("T2", "reversed"), ("11", "40"), "40"),
    )


PLANTED: dict[str, tuple[Planted, ...]] = {
    "a-linden-twin": (
        Planted("bias rectifier reversed", Fault("D1", "reversed"), ("18",), "18"),
        Planted("bias pot wiper open", Fault("left P1", "wiper open"), ("8", "19"), "19", ("1/V3 bias joint smooth/*",)),
        Planted("one HT leg open", Fault("T1", "ht a open"), ("15", "43"), "15"),
        Planted("one HT leg open", Fault("V9", "half dead"), ("43",), "43"),
        Planted("reservoir shorted", Fault("C1", "shorted"), ("5", "21"), "21"),
        *_valve("V3"),
        *_valve("V8"),
        # under power it moves HT1 on rung 5 by 4.0 to 4.3 sigma and the bands of so many readings stand at 4.6: the look at
        # the types stops it, or else rung 9 (11 sigma)
        Planted("wrong rectifier type", Fault("V9", "wrong type=5Y3GT"), ("intake", "28"), None, ("0/types/*",)),
        Planted("wrong rectifier type", Fault("V9", "wrong type=GZ34"), ("intake", "28"), None, ("0/types/*",)),
        *_common("left R22", "left R24", "left C13", 200.0, "20"),
        Planted("loop reversed", Fault("T2", "plates exchanged"), ("11", "40"), "40"),
    ),
    "b-hazel-four": (
        Planted("one HT leg open", Fault("T1", "ht a open"), ("15", "43"), "15"),
        Planted("one HT leg open", Fault("V3", "half dead"), ("43",), "43"),
        Planted("reservoir shorted", Fault("C1a", "shorted"), ("5", "21"), "21"),
        *_valve("V2"),
        Planted("wrong rectifier type", Fault("V3", "wrong type=EZ81"), ("intake", "28"), None, ("0/types/*",)),
        *_common("R10", "R13", "C5", 200.0),
    ),
    "c-sorrel-twenty": (
        Planted("one HT leg open", Fault("D1", "open"), ("43",), "43"),
        Planted("reservoir shorted", Fault("C2", "shorted"), ("5", "21"), "21"),
        # ultralinear: under power plate on screen moves the screen drop by about the 4 sigma of an EL34's own split (14 %), so
        # it may pass rung 6 and be stopped on rung 8 by its gain (5.5 sigma); in the hand it is 1 ohm
        *_valve("V2", None),
        *_common("R13", "R15", "C7", 100.0),
        Planted("loop reversed", Fault("T2", "plates exchanged"), ("11", "40"), "40"),
    ),
}  # fmt: skip
