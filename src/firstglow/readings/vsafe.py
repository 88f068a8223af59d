"""Vsafe of an output valve of one amplifier: ``safe_bias.strongest`` at today's unloaded HT with the spreads as stated."""

from typing import Any

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import roles
from firstglow.readings.observe import Observer
from firstglow.readings.rated import cathode_ohms, section_of
from firstglow.readings.safe_bias import Spread, strongest


def safe_bias(
    observer: Observer, valve: str, socket: float, idle_amps: float | None = None, bare: tuple[Any, float] | None = None
) -> float | None:
    """Vsafe [V to chassis] of an output valve section with today's unloaded HT; see ``safe_bias.strongest``.

    socket: mains today [V rms]. idle_amps: its target (default: the file's, or that of a valve on the same bias).
    bare: what ``unloaded`` gave at these mains,
    where several valves are asked for. None where there is no target.
    """
    amplifier, circuit = observer.amplifier, observer.circuit
    target = _target(amplifier, valve)
    amps = idle_amps if idle_amps is not None else target.amps.value if target else None
    if amps is None:
        return None
    part = amplifier.parts[valve]
    standing, spread = bare or unloaded(observer, socket)
    resistor = cathode_ohms(amplifier, part)
    cathode = amps * resistor
    plate = float(np.ravel(standing.dc(part.leads["plate"]))[0])
    screen = float(np.ravel(standing.dc(part.leads["screen"]))[0]) if "screen" in part.leads else plate
    law = section_of(part)
    spreads = [Spread("ht", spread)] if spread else []
    kind = f"{part.type} {law.name}".strip() if law.name in ("triode", "pentode") else str(part.type)
    for of in ("perveance", "mu", "contact"):
        for name in (f"{valve} {of}", f"type {kind} {of}"):
            row = circuit.column.get(name)
            if row is not None and circuit.parameters[row].sigma > 0:
                spreads.append(Spread(of, circuit.parameters[row].sigma))
    return strongest(law.law, amps, plate - cathode, screen - cathode, spreads) + cathode


def _target(amplifier: Amplifier, valve: str) -> Any:
    """Its idle; of one that the file gives none, the idle of another whose grid leak stands on the same bias."""
    if valve in amplifier.idle:
        return amplifier.idle[valve]
    outputs = roles(amplifier).outputs
    joint = next((o.bias_joint for o in outputs if o.valve == valve), None)
    beside = (o.valve for o in outputs if joint is not None and o.bias_joint == joint and o.valve in amplifier.idle)
    name = next(beside, None)
    return None if name is None else amplifier.idle[name]


def unloaded(observer: Observer, socket: float) -> tuple[Any, float]:
    """(standing solution with every valve but the rectifiers out, at today's mains; 1 sigma of its HT, a fraction)."""
    from firstglow.amplifier.situation import Situation

    amplifier, circuit = observer.amplifier, observer.circuit
    rectifiers = {p.envelope for p in amplifier.of_kind("rectifier")}
    out = frozenset(p.envelope for p in amplifier.of_kind("valve") if p.envelope and p.envelope not in rectifiers)
    standing = circuit.solve(circuit.apply(observer.nominal, Situation(socket, out=out)))
    turns = [w.turns.sigma for t in amplifier.of_kind("transformer") for w in t.windings if w.name.startswith("ht")]
    return standing, max(turns, default=0.0)
