"""Where a missing rating stands on the part itself, or how its size tells it."""

from collections.abc import Mapping

from firstglow.amplifier.model import Part
from firstglow.audit.stress import Stress
from firstglow.markings.made import VOLTS, made_volts

LOOK: Mapping[tuple[str, str], str] = {
    (
        "resistor",
        "watts",
    ): "its body: 0.5 W about 9 mm long, 1 W 12 mm, 2 W 15 mm (common practice)",
    ("resistor", "volts"): "its maker's sheet; a 0.5 W body mostly 350 V, 1 W and 2 W 500 V",
    ("capacitor", "working volts"): "V, VDC or WV on its sleeve; 400 V and less does not belong on HT by itself",
    ("capacitor", "surge volts"): "V, VDC or WV on its sleeve; SURGE beside it on old cans",
    (
        "capacitor",
        "ac volts",
    ): "the class (X2, Y2) and V~ on its case: V without ~ is dc and does not count on the mains",
    (
        "capacitor",
        "ripple amps, rms",
    ): "its maker's sheet by type and size, at 100 or 120 Hz and 105 degC (so the file says it too)",
    ("pot", "track watts"): "W on its cover; unmarked ones of 16 mm 0.1 W, 24 mm 0.25 W at most (common practice)",
    ("choke", "amps, dc"): "mA or H @ mA on its frame or label",
    (
        "diode",
        "peak inverse volts",
    ): "its type number, then its sheet (1N4007: 1000 V); on selenium 2.8 times the V~ printed on it (60 V~: 170 V)",
    ("diode", "amps, mean"): "its type number, then its sheet; on selenium mA beside the plates",
    ("diode", "surge amps at switch-on"): "its type number, then its sheet (IFSM)",
    ("fuse", "running amps, rms"): "its cap: T or F, amps, L or H, 250 V",
    ("switch", "amps"): "A and V~ beside its terminals",
    ("switch", "volts it parts"): "V~ beside its terminals; dc takes a switch marked for dc",
    ("wire", "amps"): "its section: 0.5 mm2 carries 3 A, 0.75 mm2 6 A in a chassis (common practice)",
    (
        "wire",
        "volts to chassis, crest",
    ): "U0/U on the insulation or the reel: U0 (ac: its peak is 1.41 times) counts to chassis, U only from core to core",
    ("inlet", "amps, rms"): "A beside its pins (10 A on the usual three-pin inlet)",
    (
        "output transformer",
        "dc amps of its plate",
    ): "mA dc on its label or in its maker's sheet: it is gapped for so much",
    ("output transformer", "watts in its copper"): "its audio watts, by its type or its core: its copper bears no more",
    ("transformer", "volt-amperes of all windings"): "VA on its plate; else weigh it and ask a maker's table",
    ("supply", "amps"): "its front plate",
}


SAY: Mapping[tuple[str, str], str] = {
    ("resistor", "watts"): '"220k 1W"',
    ("resistor", "volts"): '"220k 1W 350V"',
    ("capacitor", "surge volts"): '{ surge_volts = "500V" }',
    ("capacitor", "ac volts"): '"10n 275V X2"',
    ("capacitor", "ripple amps, rms"): '{ ripple_amps = "300m" }',
    ("pot", "track watts"): '"pot 25k 0.5W"',
    ("choke", "amps, dc"): '"choke 8H 160m"',
    ("diode", "peak inverse volts"): '"silicon 1A 1000V"',
    ("diode", "amps, mean"): '"silicon 1A 1000V"',
    ("diode", "surge amps at switch-on"): '"silicon 1A 1000V"',
    ("fuse", "running amps, rms"): '"fuse 1A slow"',
    ("switch", "amps"): '{ amps = "3" }',
    ("switch", "volts it parts"): '{ volts = "250V" }',
    ("wire", "amps"): '{ amps = "3" }',
    ("wire", "volts to chassis, crest"): '{ volts = "600V" }',
    ("inlet", "amps, rms"): '{ amps = "10" }',
    ("output transformer", "dc amps of its plate"): '{ dc_amps = "40m" }',
    ("output transformer", "watts in its copper"): '{ watts = "15" }',
    ("transformer", "volt-amperes of all windings"): '{ volt_amps = "120" }',
}
"""How the file says it."""


SELENIUM = '"selenium 60m 160V {plates} plates"'
SELENIUM_SAYS = ("peak inverse volts", "amps, mean")
"""What its line says of it; a sheet gives no surge."""


SWITCH_VOLTS = (250.0, 400.0, 500.0, 600.0, 1000.0)
"""What switches are marked for [V] (makers' sheets, from memory)."""


def say(part: Part, stress: Stress) -> str:
    """What then stands in the part's line of the file; "" where the sheet of its type says it."""
    key = (part.kind, stress.stress)
    if key == ("capacitor", "working volts"):
        return _capacitor(part, stress)
    if key == ("switch", "volts it parts"):
        return f'{{ volts = "{next((v for v in SWITCH_VOLTS if v >= stress.value), SWITCH_VOLTS[-1]):g}V" }}'
    if part.kind == "diode" and part.type == "selenium":
        return SELENIUM.format(plates=round(part.value("plates"))) if stress.stress in SELENIUM_SAYS else ""
    if key in SAY:
        return SAY[key]
    if part.kind == "transformer" and stress.stress.startswith("primary"):
        return '{ volt_amps = "120" }'
    return '"300-0-300V 150m", "6.3V 4A"' if part.kind == "transformer" else ""


def _capacitor(part: Part, stress: Stress) -> str:
    """Its own farads and kind with volts that would bear it."""
    kind = part.type or "film"
    needs = stress.value / (1.0 - stress.tight)
    volts = made_volts(needs, kind if kind in VOLTS else "film")
    if volts is None:
        return ""  # no single one is made for it
    word = "" if kind == "electrolytic" else f" {kind}"
    return f'"{1e6 * part.value("farads"):.4g}u {volts:g}V{word}"'


def look(kind: str, stress: str) -> str:
    """What to look for on the part."""
    if (kind, stress) in LOOK:
        return LOOK[kind, stress]
    if kind in ("valve", "rectifier"):
        return "its maker's sheet, by the type as printed on the glass"
    if kind == "transformer" and stress.startswith("primary"):
        return "VA or A on its plate (its amps are VA over its volts); unmarked, weigh it and ask a maker's table"
    if kind == "transformer":
        return "mA or A beside the winding on its plate; else its maker's sheet"
    return "its maker's sheet"
