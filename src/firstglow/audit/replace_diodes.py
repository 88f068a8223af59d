"""What to fit instead of a rectifier diode; of selenium, the silicon and the resistor that stand in for it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import ceil

import numpy as np

from firstglow.amplifier.model import Amplifier, Part, Quantity
from firstglow.amplifier.situation import Situation
from firstglow.audit.in_series import across
from firstglow.audit.pieces import Item, Made, resistor
from firstglow.audit.proposal import Proposal
from firstglow.audit.stress import Stress
from firstglow.audit.stress_passive import SURGE_TIMES
from firstglow.audit.tried import breaks
from firstglow.audit.ways import Array, Stood
from firstglow.audit.ways import stood as every_way
from firstglow.markings.made import made_watts
from firstglow.markings.series import preferred
from firstglow.quantities import show
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.standing import SolveError

SILICON = (("1N4007", 1.0, 1000.0), ("1N5408", 3.0, 1000.0))
"""Diodes at hand anywhere: type, mean amps, peak inverse volts (registered types, from memory)."""
DIODE_OHMS, DIODE_WATTS = 470e3, 0.5
"""Across each of several in series: they leak some microamperes (common practice); the least body."""
INVERSE_RMS = (3.0 / 8.0) ** 0.5
"""Rms over crest of what a diode parts behind a reservoir: a sine on its own crest (closed form)."""
SURGE = "surge amps at switch-on"


def diode(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    piv, amps = by["peak inverse volts"].value / 0.8, by["amps, mean"].value / 0.8
    surge = by[SURGE].value / 0.8 if SURGE in by else 0.0
    fits = (k for k in SILICON if k[1] >= amps and SURGE_TIMES * k[1] >= surge)
    kind = next(fits, (f"a rectifier diode for {amps:.2g} A, {surge:.3g} A of surge", amps, 1000.0))
    count = max(1, ceil(piv / kind[2]))
    what = kind[0]
    made = Made(kind[0], "silicon", {"amps": kind[1], "volts": kind[2]} if kind in SILICON else {})
    items: tuple[Item, ...] = (Item(count, made, f"{count} in series" if count > 1 else "", row=count),)
    if count > 1:
        shared = across(by["peak inverse volts"].value / count, DIODE_OHMS, DIODE_WATTS, INVERSE_RMS)
        what = f"{count} of {kind[0]} in series, {shared.text} and 10 nF 1 kV across each"
        items += (shared.item(count), Item(count, Made("10 nF 1 kV ceramic"), "one across each", "beside"))
    if part.type != "selenium":
        return Proposal(what, "", items=items)
    return _silicon_for(stood, part, what, items)


def _silicon_for(stood: Stood, part: Part, what: str, items: tuple[Item, ...]) -> Proposal:
    """A silicon diode and the resistor with which the supply stands where the selenium has it, at this very current."""
    joint = next((s.joint for s in stood.roles.supplies if part.name in s.rectifiers), "chassis")
    k = int(np.flatnonzero(stood.where(level="now", runs=True))[0])
    row, before = stood.row(part.name), float(stood.dc(joint)[k])
    mean, rms = (abs(float(row[n][k])) for n in ("amps", "amps_rms"))
    drop = max(float(part.values["plates"].value), 1.0)
    choices = [0.0, *(preferred(drop / max(mean, 1e-6) * 10.0 ** (n / 24.0), "E24") for n in range(-48, 1))]
    volts = _as_silicon(stood, part, joint, choices)
    if volts is None:
        return Proposal(
            f"{what} (silicon)", "", "what it changes could not be worked out: measure the supply, nothing behind it",
            items=items,
        )  # fmt: skip
    best = int(np.abs(volts - before).argmin())
    ohms = choices[best]
    told = f"{joint} reads {before:.1f} V now, {volts[0]:.1f} V with silicon alone"
    alone = _silicon_breaks(stood, part, 0.0)
    if not ohms:
        return Proposal(f"{what} (silicon)", "", f"{told}{alone}", items=items)
    watts = max(2.0 * rms**2 * ohms, 0.5)
    rated = made_watts(watts, "film") or made_watts(watts, "wirewound") or watts
    other = f"{what} (silicon) alone, the network behind it redesigned for the higher volts (firstglow bias)"
    return Proposal(
        f"{what} (silicon) with {show(ohms, 'ohm')} {rated:g} W in series", "",
        f"{told}, {volts[best]:.1f} V with the resistor: that matches at {show(mean, 'A')} only, and with nothing drawing the "
        f"volts go higher. Set the idle again, output valves out first{_silicon_breaks(stood, part, ohms)}",
        alternatives=() if alone else (other,), refused=(f"{other}{alone}",) if alone else (),
        items=(*items, Item(1, resistor(ohms, rated), "in series with it", "in its cathode lead")),
    )  # fmt: skip


SILICON_OHMS = 0.04
"""A silicon diode's own series resistance (1N4007, from memory) [ohm]."""


def _silicon(stood: Stood, part: Part, ohms: float = 0.0) -> Amplifier:
    """The amplifier with silicon and so many ohms in a selenium's place."""
    exact = {"plates": 0.0, "age": 0.0, "series_ohms": SILICON_OHMS + ohms}
    values = {**part.values, **{k: Quantity(v) for k, v in exact.items()}}
    parts = {**stood.amplifier.parts, part.name: replace(part, type="silicon", values=values)}
    return replace(stood.amplifier, parts=parts, digest=f"{stood.amplifier.digest} {part.name} as silicon {ohms:g}")


def _silicon_breaks(stood: Stood, part: Part, ohms: float) -> str:
    """What that puts past its rating over every way of standing, the idle set again; "" where nothing."""
    mains = stood.mains["now"]
    try:
        other = every_way(_silicon(stood, part, ohms), None if mains == stood.amplifier.mains_volts else mains)
    except SolveError:
        return "; whether it puts anything past its rating could not be worked out"
    other.__dict__["restart"] = stood.restart
    hurt = breaks(stood, other, part)
    return f"; but: {hurt}" if hurt else ""


def _as_silicon(stood: Stood, part: Part, joint: str, ohms: Sequence[float]) -> Array | None:
    """Volts of a joint, running, with silicon and each of these resistors in a selenium's place; None where unsolved."""
    circuit = compile_circuit(_silicon(stood, part))
    laid = np.repeat(circuit.vector(Situation(stood.mains["now"], pots=stood.pots))[:, None], len(ohms), axis=1)
    laid[circuit.column[f"{part.name} series_ohms"]] += np.array(ohms)
    now = circuit.solve(laid, strict=False)
    return np.asarray(now.dc(joint)) if now.settled.all() else None
