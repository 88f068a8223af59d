"""Supplies fed through a capacitor, and which of them are not solved here: those that empty it too far in a mains cycle.

Two diodes on a small pump (bias from one HT leg, C, diode to chassis, diode from the bias) are solved by the charge of a cycle
(``pumped_joint``, ``cells.Problem.ramp``), within 0.5 % of waveforms. For the others:

A cascade doubler, or bias taken from one HT leg through a capacitor. The averaged rectifier takes the capacitor's charge as drained
steadily; what really takes it is the other rectifier's pulse. With a capacitor that keeps its volts the two are one. What the
difference makes grows with ``emptied``, the volts that a cycle takes off the capacitor over those that it stands at
(waveforms in time by scipy, a cascade doubler of 321 V and 46 mA at 50 Hz): 0.6 % of the volts at 0.06 (100 uF), 0.8 % at
0.12 (47 uF), 1.4 % at 0.26 (22 uF), 5.8 % at 0.58 (10 uF), and several times too much or too little with the 22 nF to 1 uF
of a bias supply. A resistor on the pumped joint carries the winding's ac through the capacitor too, which counts as emptying it:
at 0.08 by dc, 1 uF into 22k is 3 % too much and 0.12 uF into 47k 18 %.

On an end that a bridge has too: taken as half the winding's emf either way it was 5 % too much (68 nF, 300 V; the end goes no
further than from chassis to HT), and more than 80 nF did not settle. Refused.
"""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

import numpy as np

from firstglow.amplifier.graph import Net, net_of
from firstglow.amplifier.model import Amplifier, AmplifierError, Part, Problem
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import supplies
from firstglow.quantities import show
from firstglow.solver.frame import Array
from firstglow.solver.reservoir import STRAY_FARADS

if TYPE_CHECKING:
    from firstglow.amplifier.legs import Leg
    from firstglow.solver.circuit import Circuit

MOST_EMPTIED = 0.125
"""Part of a pump capacitor's volts that a mains cycle may take: the volts are then right to 1 %."""
HELD_PUMP_FARADS = 5e-6
"""From here up a pump keeps its volts and counts as drained steadily; below, a cycle's charge is solved [F]."""
LEAST_VOLTS = 1.0
LEAST_OHMS = 1.0
LEAST_AMPS = 1e-6
"""A pump that gives less than this [A] feeds nothing: a rectifier's leak."""


def refuse_pumps(circuit: "Circuit") -> None:
    """AmplifierError where a capacitor feeds more than it can be solved for; nothing where none feeds anything."""
    pumps = _pumps(circuit)
    if not pumps:
        return
    legs = [leg for legs in _cells(circuit).values() for leg in legs]
    bridged = _on_a_bridge(legs)
    if bridged:
        raise AmplifierError(tuple(_problem(circuit, name, BRIDGED) for name in bridged))
    found = emptied(circuit)
    solved = {leg.coupling[0] for leg in legs if leg.coupling and pumped_joint(circuit.amplifier, leg)}
    pumps = tuple(name for name in pumps if name not in solved)
    bad = [name for name in pumps if _small(circuit, name) or found.get(name, 0.0) > MOST_EMPTIED]
    if bad:
        raise AmplifierError(tuple(_problem(circuit, name, EMPTIED) for name in bad))


def _on_a_bridge(legs: "list[Leg]") -> tuple[str, ...]:
    """Capacitors that hang on a winding's end which a bridge has too (half the winding drives them)."""
    half = [leg for leg in legs if leg.coupling and any(abs(w.sign) == 0.5 for w in leg.windings)]
    return tuple(dict.fromkeys(name for leg in half for name in leg.coupling))


def pumped_joint(amplifier: Amplifier, leg: "Leg") -> str | None:
    """The joint between the two rectifiers of a small pump, where this leg is one of theirs: a cycle's charge goes through the one
    into the capacitor and through the other out of it, and nothing else is on the joint. None for any other leg."""
    if len(leg.coupling) != 1 or leg.choke or amplifier.parts[leg.coupling[0]].value("farads") >= HELD_PUMP_FARADS:
        return None
    pair = [one for s in supplies(amplifier) for one in s.legs if set(one.coupling) & set(leg.coupling)]
    if len(pair) != 2 or {one.coupling for one in pair} != {leg.coupling}:
        return None
    net = net_of(amplifier)
    ends = set(amplifier.parts[leg.coupling[0]].leads.values())
    for one, two in (pair, pair[::-1]):
        if one.end == two.start and one.end in ends and all(b.sort in {"diode", "capacitor"} for b in net.at[one.end]):
            return one.end
    return None


def pumped_joints(amplifier: Amplifier) -> dict[str, tuple[str, str]]:
    """The joint between the two rectifiers of each small pump, and the steady joints between which they move it: joint ->
    (where the first one starts, where the second one ends)."""
    found: dict[str, tuple[str, str]] = amplifier.once("pumped_joints", _pumped_joints)
    return found


def _pumped_joints(amplifier: Amplifier) -> dict[str, tuple[str, str]]:
    out: dict[str, tuple[str, str]] = {}
    small = [p for p in amplifier.of_kind("capacitor") if p.value("farads") < HELD_PUMP_FARADS]
    leads = [j for p in amplifier.of_kind("diode", "rectifier") for j in p.leads.values()]
    at = {j for p in small for j in p.leads.values() if leads.count(j) == 2}
    for supply in supplies(amplifier) if at else ():
        for leg in supply.legs:
            joint = pumped_joint(amplifier, leg)
            if joint is not None and joint == leg.end:
                out[joint] = leg.start, next(one.end for one in supply.legs if one.start == joint)
    return out


def crest_across(part: Part, pumped: Mapping[str, tuple[str, str]], at: Callable[[str], tuple[Array, Array]]) -> Array:
    """The most volts across a capacitor in a mains cycle: its dc and its winding's crest. Of a pump's capacitor, whose far end
    stands at one rectifier's joint while the winding is at one crest and at the other's at the other: the larger.

    pumped: ``pumped_joints``. at: dc volts and signed ac volts rms of a joint to chassis, (sample,) each. The winding is taken
    to both crests of its half cycle, which a rectifier that conducts cuts off by its own drop: some per cent too careful.
    """
    plus, minus = part.leads["+"], part.leads["-"]
    for joint, wound in ((plus, minus), (minus, plus)):
        if joint in pumped:
            steady = [at(end)[0] for end in pumped[joint]]
            dc, ac = at(wound)
            crest = 2.0**0.5 * np.abs(ac)
            low, high = np.minimum(*steady), np.maximum(*steady)
            return np.asarray(np.maximum(np.abs(dc + crest - high), np.abs(dc - crest - low)))
    (dc_plus, ac_plus), (dc_minus, ac_minus) = at(plus), at(minus)
    return np.asarray(np.abs(dc_plus - dc_minus) + 2.0**0.5 * np.abs(ac_plus - ac_minus))


def emptied(circuit: "Circuit") -> dict[str, float]:
    """Part of its volts that a mains cycle takes off each pump capacitor, by dc and by what ac its joint's resistors carry, on the
    mains of the mark; empty where the amplifier would not settle."""
    p = circuit.vector(Situation(circuit.amplifier.mains_volts))
    solved = circuit.newton(p[:, None])
    if not solved.settled.all():
        return {}
    from firstglow.solver.standing import Standing

    standing = Standing(solved.x, p[:, None], np.array(solved.settled), solved.steps, circuit)
    out: dict[str, float] = {}
    hertz = circuit.amplifier.mains_hz
    net = net_of(circuit.amplifier)
    for legs in _cells(circuit).values():
        for leg in legs:
            amps = sum(abs(float(standing.part(name)["amps"][0])) for name in leg.rectifiers)
            volts = abs(float((standing.dc(leg.end) - standing.dc(leg.start))[0]))
            for name in leg.coupling if amps > LEAST_AMPS else ():
                size = p[circuit.column[f"{name} farads"]]
                swing = _ac_siemens(net, name, leg) / (2.0 * np.pi * hertz * size)
                out[name] = max(out.get(name, 0.0), float(amps / (hertz * size * max(volts, LEAST_VOLTS)) + swing))
    return out


def _cells(circuit: "Circuit") -> "Mapping[str, list[Leg]]":
    from firstglow.solver.circuit import charging_cells

    return charging_cells(circuit.amplifier)


def _pumps(circuit: "Circuit") -> tuple[str, ...]:
    legs = [leg for legs in _cells(circuit).values() for leg in legs]
    return tuple(dict.fromkeys(name for leg in legs for name in leg.coupling))


def _ac_siemens(net: Net, name: str, leg: "Leg") -> float:
    """What the resistors on a pumped joint are to the winding's ac, all side by side [S]."""
    pumped = {leg.start, leg.end} & set(net.amplifier.parts[name].leads.values())
    return sum(1.0 / max(b.ohms, LEAST_OHMS) for j in pumped for b in net.at[j] if b.sort == "resistance")


def _small(circuit: "Circuit", name: str) -> bool:
    """Too small for the rectifier's cycle to hold anything on it."""
    return circuit.amplifier.parts[name].value("farads") < STRAY_FARADS


NO_FIGURE = "so no figure of this amplifier is given"
EMPTIED = (
    f"and what that takes empties them too far in every mains cycle to be worked out: the volts behind it would be wrong, {NO_FIGURE}",
    f"a capacitor in a rectifier's feed loses up to {MOST_EMPTIED:.1%} of its volts in a mains cycle",
)
BRIDGED = (
    f"from a winding's end that a bridge pulls from its minus to its plus and lets go between, which is not worked out, {NO_FIGURE}",
    "such a capacitor on an end whose winding has its other end, or its tap, on chassis or another steady joint",
)


def _problem(circuit: "Circuit", name: str, why: tuple[str, str]) -> Problem:
    part = circuit.amplifier.parts[name]
    # never a larger one as the remedy: it would give a bias supply several times its volts
    return Problem(
        circuit.amplifier.file,
        part.origin.line or 1,
        name,
        f"its {show(part.value('farads'), 'F')} feed a rectifier, {why[0]}",
        why[1],
        "a winding of its own for that supply, drawn and fitted; not just a larger capacitor, which gives more volts",
    )
