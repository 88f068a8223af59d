"""Ripple on the supplies' joints and in the parts between them, beside the standing rows of one situation."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault, Situation
from firstglow.amplifier.supplies import supplies
from firstglow.solver.frame import Array
from firstglow.solver.nodes import CHASSIS
from firstglow.solver.pulses import Pulses
from firstglow.solver.ripple import Ripple, standing_ripple
from firstglow.solver.standing import Standing
from firstglow.solver.waves import cycle_state

EMPTY = 1e-3
"""Part of its highest current below which a choke counts as empty."""


@dataclass(frozen=True, slots=True)
class Rippled:
    """joints: ripple of each supply joint to chassis [V rms]; parts: fields that ripple adds to the standing row or replaces in it,
    "volts_ac" [V rms], "amps_rms" [A] and what it warms, "watts", of the parts from one supply joint to another; (sample,) each."""

    joints: Mapping[str, Array] = field(default_factory=dict)
    parts: Mapping[str, Mapping[str, Array]] = field(default_factory=dict)


def rippled(standing: Standing, situation: Situation, faults: Sequence[Fault] = ()) -> Rippled:
    """The ripple of a nominal amplifier's standing solution in the situation (its pots where they stand, no idle target) and
    with the faults that were laid over it. Reservoirs and what stands in a rectifier's path keep the rms of their
    own pulses (``Standing.part``)."""
    amplifier = standing.circuit.amplifier
    joints = supply_joints(amplifier)
    if not joints or not standing.books.cycles:
        return Rippled()
    seen = standing_ripple(standing.circuit, standing, situation, None, faults)
    parts = {}
    # without a reservoir ripple is half of what stands there, and goes through every resistor behind it
    bare = any(s.input == "none" for s in supplies(amplifier))
    for part in amplifier.of_kind("resistor", "capacitor", "choke"):
        one, two = list(part.leads.values())[:2]
        held = {one, two} <= joints | {CHASSIS}
        if one != two and (held or (bare and part.kind == "resistor" and _solved(standing, one, two))):
            parts[part.name] = _row(part, standing, seen, (one, two), situation.mains_hz or amplifier.mains_hz)
    pulsed = _before_resistors(standing)
    return Rippled({j: pulsed[j] if j in pulsed else seen.rms(j) for j in sorted(joints - {CHASSIS})}, parts)


def _before_resistors(standing: Standing) -> dict[str, Array]:
    """Ac of the joints between rectifier and reservoir that a resistor parts from the reservoir [V rms]: the reservoir's ripple
    and what the pulses drop on the way to it."""
    amplifier = standing.circuit.amplifier
    out: dict[str, Array] = {}
    for group in standing.circuit.equations.groups:
        if not isinstance(group, Pulses) or group.henries is not None or group.name not in standing.books.cycles:
            continue
        volts = cycle_state(standing.books.cycles[group.name][0])
        volts = 0.5 * (volts + np.roll(volts, -1, axis=0))  # as the currents, in the middle of a cell
        leg = group.legs[0].leg
        for joint, way, wave in ((leg.end, 1.0, volts), (leg.start, -1.0, np.zeros_like(volts))):
            known = {joint: wave}
            for _ in leg.series_dc:  # outwards from the reservoir, one after another
                for name in leg.series_dc:
                    ends = list(amplifier.parts[name].leads.values())
                    near = [j for j in ends if j in known]
                    if len(near) == 1 and name in standing.waves.series and len(ends) == 2:
                        drop = standing.bench.given(f"{name} ohms", 0.0) * np.abs(standing.waves.series[name])
                        far = next(j for j in ends if j not in known)
                        known[far] = known[near[0]] + way * drop
            out |= {j: np.sqrt(w.var(axis=0)) for j, w in known.items() if j != joint}
    return out


def broken_currents(standing: Standing) -> frozenset[str]:
    """Joints between a rectifier and a choke that runs empty in each half cycle (first sample): there the steps leave more
    than the carried harmonics, 7 to 8 % of the ac (``ripple``)."""
    found = set()
    for group in standing.circuit.equations.groups:
        if isinstance(group, Pulses) and group.henries is not None and group.name in standing.books.cycles:
            amps = cycle_state(standing.books.cycles[group.name][0])[:, 0]
            if amps.min() < EMPTY * amps.max():
                leg = group.legs[0].leg
                found |= {leg.start, leg.end} - {CHASSIS}
    return frozenset(found)


def supply_joints(amplifier: Amplifier) -> frozenset[str]:
    """Joints that a supply's capacitors hold, the rectifiers' own and the return among them."""
    found: set[str | None] = set()
    for s in supplies(amplifier):
        found |= {s.joint, s.ret, s.rectified, s.middle, *s.nodes}
    return frozenset(j for j in found if j is not None and j in amplifier.joints)


def _solved(standing: Standing, *ends: str) -> bool:
    return all(j == CHASSIS or f"dc {j}" in standing.circuit.index for j in ends)


def _row(part: Part, standing: Standing, seen: Ripple, ends: tuple[str, str], hertz: float) -> dict[str, Array]:
    """Volts across and amps through a part: its own dc, and every carried multiple of the mains."""
    own = standing.part(part.name)
    volts = np.hypot(own.get("volts_ac", 0.0), seen.rms(*ends))
    out = {"volts_ac": np.broadcast_to(volts, (standing.samples,))}
    if part.name in standing.waves.capacitors or part.name in standing.waves.series:
        return out
    wave = np.zeros(standing.samples)
    for order in seen.responses:
        wave = wave + np.abs(seen.component(*ends, order) * _siemens(part, standing, 2 * np.pi * hertz * order)) ** 2
    out["amps_rms"] = np.sqrt(np.asarray(own["amps"]) ** 2 + wave)
    if part.kind in ("resistor", "choke"):
        out["watts"] = np.asarray(own["watts"] + wave * standing.bench.p(f"{part.name} ohms"))
    return out


def _siemens(part: Part, standing: Standing, w: float) -> Array:
    """Admittance at ``w`` [rad/s], as the sample has it."""
    p = standing.bench.p
    if part.kind == "capacitor":
        return np.asarray(1j * w * p(f"{part.name} farads"))
    henries = p(f"{part.name} henries") if part.kind == "choke" else 0.0
    return np.asarray(1.0 / (p(f"{part.name} ohms") + 1j * w * henries))
