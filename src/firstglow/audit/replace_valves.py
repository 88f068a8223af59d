"""What to do about a valve, a rectifier valve or a heater that is asked too much."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from math import pi

import numpy as np

from firstglow.amplifier.faults import fits_socket
from firstglow.amplifier.model import Part
from firstglow.audit.proposal import REST, Proposal, shown
from firstglow.audit.stress import Stress
from firstglow.audit.ways import Stood
from firstglow.markings.made import made_watts
from firstglow.markings.series import next_down, next_up
from firstglow.quantities import show

OHMS = ("supply ohms a plate", "hot switching amps", "peak amps a plate")
"""What more ohms ahead of its plates mend."""


def valve(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    found = [_GRID.get(s.stress, _limit)(stood, part, s) for s in pressing]
    whats = tuple(dict.fromkeys(what for what, _ in found))
    changes = "; ".join(dict.fromkeys(c for _, c in found if c))
    return Proposal("; ".join(whats), "", changes or REST)


def _limit(stood: Stood, part: Part, s: Stress) -> tuple[str, str]:
    if s.stress == "screen volts":
        row = stood.row(part.name)
        k = next((n for n, w in enumerate(stood.ways) if w.text == s.situation), 0)
        drop, amps = s.value - 0.9 * (s.rating or 0.0), max(float(row["screen_amps"][k]), 1e-6)
        return (
            f"screens from a lower rail: {drop:.0f} V less, where this one takes {show(amps, 'A')}; or a type rated for it",
            "plate current falls with the screen volts: set or check the idle again",
        )
    if s.stress in ("plate watts", "screen watts", "cathode amps", "both plates' watts"):
        return (
            f"less current: more bias until {s.stress} is {shown(0.9 * (s.rating or 0.0), s.unit)}",
            "the idle falls with it",
        )
    if s.stress == "heater to cathode volts":
        return (
            "its heater on a winding of its own, or the heater line lifted toward its cathode",
            "heater to chassis dc volts",
        )
    return f"a type rated for {shown(s.value / 0.9, s.unit)} or more, or mains brought down to their mark", ""


def _leak(stood: Stood, part: Part, s: Stress) -> tuple[str, str]:
    output = next((o for o in stood.roles.outputs if o.valve == part.name), None)
    role = output or next((o for o in stood.roles.smalls if o.valve == part.name), None)
    name = role.grid_leak if role is not None else None
    if name is None or s.rating is None:
        return "a lower grid leak", ""
    leak = stood.amplifier.parts[name]
    ohms = leak.value("ohms")
    room = s.rating - (s.value - ohms)
    if room <= 0.1 * s.rating:
        return "less ohms in what feeds its grid leak: a stiffer bias network", "bias volts"
    new = next_down(room, "E24")
    coupling = [c for c in (output.coupling if output else ()) if c in stood.amplifier.parts]
    farads = stood.amplifier.parts[coupling[0]].value("farads") if coupling else 0.0
    corner = (
        f"; with its coupling capacitor the bass corner goes from {1 / (2 * pi * ohms * farads):.1f} to "
        f"{1 / (2 * pi * new * farads):.1f} Hz"
        if farads
        else ""
    )
    return (
        f"its grid leak {show(new, 'ohm')} in place of {show(ohms, 'ohm')}",
        f"the stage before it drives {show(new, 'ohm')}{corner}",
    )


_GRID: Mapping[str, Callable[[Stood, Part, Stress], tuple[str, str]]] = {"grid leak": _leak}


def rectifier(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    """Less farads first, ohms in its plate leads, another type of its socket."""
    found: list[str] = []
    first = by.get("first capacitor")
    if first in pressing and first is not None and first.rating is not None:
        found.append(
            f"a first capacitor of {show(next_down(first.rating, 'E12'), 'F')} at most, the rest behind the choke or dropper"
        )
    more = [_more_ohms(s, by) for s in pressing if s.stress in OHMS]
    if more:
        ohms = next_up(max(more), "E12")
        amps = float(np.max(stood.row(part.name)["amps_rms"][stood.where(runs=True)]))
        watts = made_watts(max(2.0 * ohms * amps**2, 3.0), "wirewound")
        found.append(
            f"{show(ohms, 'ohm')} {watts:g} W wirewound in each plate lead" if watts else "more ohms ahead of it"
        )
    types = tuple(_bears(part, by))
    if any(s.stress not in (*OHMS, "first capacitor") for s in pressing):
        found.append(
            f"a {types[0]} in its socket"
            if types
            else "a rectifier that its sheet allows this, or less load and volts on it"
        )
    return Proposal(
        "; ".join(dict.fromkeys(found)), "", "HT falls by the ohms times the amps of each pulse; ripple rises with less farads",
        alternatives=tuple(f"{t} in its place, its heater winding allowing" for t in types),
    )  # fmt: skip


def _more_ohms(s: Stress, by: Mapping[str, Stress]) -> float:
    if s.stress == "supply ohms a plate":
        return max((s.rating or 0.0) - s.value, 1.0)
    have = by["supply ohms a plate"].value if "supply ohms a plate" in by else 100.0
    return max(have * (s.value / max(0.9 * (s.rating or s.value), 1e-9) - 1.0), 1.0)


def _bears(part: Part, by: Mapping[str, Stress]) -> Iterator[str]:
    """Types of the same socket and heater volts whose sheet bears every stress, by name, with their heater amps."""
    from firstglow.devices.catalogue import valve_type
    from firstglow.devices.smooth import DeviceError

    keys = {
        "amps, dc": ("idc_max_mA", 1e3), "peak amps a plate": ("i_peak_per_plate_max_mA", 1e3), "first capacitor": ("c_in_max_uF", 1e6),
        "peak inverse volts": ("piv_max_V", 1.0), "winding volts a plate": ("vrms_per_plate_max", 1.0),
    }  # fmt: skip
    for name in fits_socket(part):
        try:
            kind = valve_type(name)
        except DeviceError:
            continue
        rated = kind.sections[0].limits.others
        if all(k in rated and by[s].value * scale <= rated[k] * 1.001 for s, (k, scale) in keys.items() if s in by):
            yield f"{name} (heater {kind.heaters[0].amps:g} A)"


def heater(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    high = by["heater volts"]
    rated = (high.rating or 0.0) / 1.1
    amps = abs(float(stood.row(part.name).get("amps_rms", np.ones(1))[0])) or part.value("amps")
    if high in pressing:
        ohms = (high.value - rated) / amps
        return Proposal(
            f"the primary's tap for these mains; or {ohms:.2g} ohm {2 * ohms * amps**2:.2g} W in its heater lead", "",
            f"its heater {high.value:.2f} V to {rated:.2f} V; hotter than its rating a heater lives shorter",
        )  # fmt: skip
    return Proposal(
        "the primary's tap for these mains; look for ohms in the heater line and its pins", "", "heater volts rise"
    )
