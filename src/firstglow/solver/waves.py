"""The rectifiers' pulses in time at a solved point: what reservoirs, rectifiers and windings carry through a mains cycle.

The averaged rectifier solves its cycle in cells of 7.5 degrees; here are its currents cell by cell. A choke input's legs
take turns carrying the choke's own current.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from firstglow.solver.averaged import Averaged, Inputs, columns, prepare
from firstglow.solver.bare import choked_waves
from firstglow.solver.cells import CELLS, ROOT2, WAVE, flows
from firstglow.solver.frame import Array
from firstglow.solver.pulses import Pulses
from firstglow.solver.reservoir import STRAY_FARADS, ReservoirRows
from firstglow.solver.together import flows_together

if TYPE_CHECKING:
    from firstglow.solver.standing import Standing


@dataclass(frozen=True, slots=True)
class Waves:
    """Amps through a mains cycle (CELLS, sample) by the name of a part or winding.

    capacitors: of each reservoir, without its dc leak. rectifiers: a diode's or all plates'. windings: only what the
    rectifiers draw, signed into the winding's start. series: of resistors, fuses, switches and links in a rectifier's path,
    from their first lead to their second.
    """

    capacitors: Mapping[str, Array] = field(default_factory=dict)
    rectifiers: Mapping[str, Array] = field(default_factory=dict)
    windings: Mapping[str, Array] = field(default_factory=dict)
    series: Mapping[str, Array] = field(default_factory=dict)


def waves(standing: "Standing") -> Waves:
    """The currents of every supply's cycle."""
    made = Waves({}, {}, {}, {})
    for group in standing.circuit.equations.groups:
        if isinstance(group, Pulses) and group.name in standing.books.cycles:
            found, inputs = standing.books.cycles[group.name]
            amps = leg_waves(group, found, inputs)
            _legs(group, amps, made)
            if group.henries is None:
                _reservoirs(group, found, inputs, amps.sum(axis=0), standing.values, made)
    return made


def leg_waves(group: Pulses, found: Averaged, inputs: Inputs) -> Array:
    """Amps of each leg (leg, CELLS, sample)."""
    state = cycle_state(found)
    out = np.zeros((len(group.legs), *state.shape))
    if group.henries is not None:
        half = np.arange(CELLS) < CELLS // 2
        for n, leg in enumerate(group.legs):
            alone = all(other.phase == leg.phase for other in group.legs)
            turn = np.ones(CELLS, dtype=bool) if alone else half == (leg.phase > 0)
            out[n] = np.where(turn[:, None], state, 0.0)
        return out
    into = np.zeros(out.shape[-1], dtype=bool) if inputs.henries is None else inputs.henries > 0.0
    if into.any():
        out[..., into] = choked_waves(group.cell, columns(inputs, into), found.state[:, into])
    together = np.zeros_like(into) if inputs.at_once is None else inputs.at_once
    for which in (which for which in (~into & ~together, together) if which.any()):
        here = inputs if which.all() else columns(inputs, which)
        law = flows if here.at_once is None else flows_together
        for f in law(prepare(group.cell, here), found.state[:, which], ()):
            out[f.leg, f.first : f.last, which] += f.amps.T
    return out


def cycle_state(found: Averaged) -> Array:
    """Volts of the reservoir capacitor (of a choke input, amps of the choke) through a mains cycle, as each cell begins,
    (CELLS, sample)."""
    volts = found.state[:-1]
    return np.concatenate([volts] * (CELLS // volts.shape[0]))


def _legs(group: Pulses, amps: Array, made: Waves) -> None:
    for n, leg in enumerate(group.legs):
        for stage in leg.stages:
            for plate in stage:
                _add(made.rectifiers, plate.part.name, plate.way * amps[n] / len(stage))
        passed = dict.fromkeys((*leg.leg.series_ac, *leg.leg.series_dc), 1.0)
        passed |= {name: 1.0 / len(stage) for stage in leg.leg.stages for path in stage for name in path.series}
        for name, share in passed.items():
            if group.frame.amplifier.parts[name].kind != "pot":  # of a track only a piece is passed
                _add(made.series, name, (-share if name in leg.leg.backwards else share) * amps[n])
        for w in leg.leg.windings:
            if w.winding:  # a leg's dc enters at the winding's end and leaves at its start where its sign is +
                _add(made.windings, f"{w.part} {w.winding}", -w.sign * amps[n])


def _reservoirs(group: Pulses, found: Averaged, inputs: Inputs, amps: Array, p: Array, made: Waves) -> None:
    """A reservoir takes what the legs give beyond the load's mean and what the load takes of the ripple. Not its farads times
    what its volts move: to the cycle a following section adds farads of its own, which pulses never see."""
    assert isinstance(group.reservoir, ReservoirRows)
    if group.pumped is not None:
        way = 1.0 if group.legs[0].leg.start == group.pumped else -1.0
        _add(made.capacitors, group.legs[0].leg.coupling[0], way * amps)
        return
    volts = cycle_state(found)
    middle = 0.5 * (volts + np.roll(volts, -1, axis=0))
    rest = amps - amps.mean(axis=0) - np.asarray(inputs.drain) * (middle - middle.mean(axis=0))
    each = group.reservoir.each(p)
    # capacitors side by side share by their farads; two in series through the chassis carry the same
    series = not group.reservoir.grounded and not group.reservoir.direct
    whole = sum(v for name, v in each.items() if name not in group.reservoir.once) / (2.0 if series else 1.0)
    for name, farads in each.items():
        _add(made.capacitors, name, np.where(whole < STRAY_FARADS, 0.0, rest * farads / np.maximum(whole, 1e-15)))


def _add(table: Mapping[str, Array], name: str, wave: Array) -> None:
    assert isinstance(table, dict)
    table[name] = table[name] + wave if name in table else wave


def pulse_rows(made: Waves, name: str, row: Mapping[str, Array], ohms: Array, ac: bool) -> dict[str, Array]:
    """What the cycle adds to a standing row: a reservoir's rms, everybody's peak [A], the heat of pulses in a resistor [W],
    each (sample,). ohms: of a part that is one. ac: whether the row has the pulses' fundamental, beside their mean, already.
    """
    if name in made.capacitors:
        wave = made.capacitors[name] + row["amps"]
        return {"amps_rms": rms(wave), "amps_peak": peak(wave)}
    if name in made.rectifiers:
        return {"amps_peak": peak(made.rectifiers[name])}
    if name in made.series:
        wave = made.series[name]
        known = wave.mean(axis=0) ** 2 + (ac * (wave * WAVE[:, None]).mean(axis=0)) ** 2
        more = np.maximum((wave**2).mean(axis=0) - known, 0.0)
        of_row = row.get("amps_rms", np.abs(row["amps"]))
        return {
            "amps_rms": np.sqrt(of_row**2 + more), "amps_peak": peak(wave), "watts": row["watts"] + ohms * more
        }  # fmt: skip
    if name in made.windings:
        wave = made.windings[name]
        # what else the winding feeds is a sine in phase with its volts, at its crest when the pulses are
        return {"amps_peak": peak(wave) + ROOT2 * np.sqrt(np.maximum(row["amps_rms"] ** 2 - rms(wave) ** 2, 0.0))}
    return {}


def rms(wave: Array) -> Array:
    """Root of the mean square over a cycle (sample,)."""
    return np.asarray(np.sqrt((wave**2).mean(axis=0)))


def peak(wave: Array) -> Array:
    """The largest size in a cycle (sample,): the crest of the parabola whose means are the highest cell's and its
    neighbours'."""
    size = np.abs(wave)
    at = size.argmax(axis=0)
    before, top, after = (size[(at + k) % CELLS, np.arange(size.shape[1])] for k in (-1, 0, 1))
    bend, lean = 0.5 * (before + after) - top, 0.5 * (after - before)
    return np.asarray(top - bend / 12.0 + np.where(bend < 0.0, -(lean**2) / np.minimum(4.0 * bend, -1e-300), 0.0))
