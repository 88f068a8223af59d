"""The power of a rectifier's cycle, both ways: what its legs take from their emfs against everything that becomes of it.

Taken: each emf times the leg's in-phase amps, as the windings' equations have them. Become of it: the dc watts, as the
joints have them; the reservoir's ripple; the heat of the series ohms by the mean square, as the lamp has it; and the heat
of valves and diodes cell by cell, each current put back into the law. Volts, amps and squares that do not belong to one
another show here, whichever is wrong and whichever way.
"""

import numpy as np

from firstglow.solver.averaged import Averaged, Inputs, prepare
from firstglow.solver.cells import ROOT2
from firstglow.solver.frame import Array
from firstglow.solver.pulses import Pulses
from firstglow.solver.waves import cycle_state, leg_waves

STARVED = 0.9
"""Part of what its cathode can give beyond which a plate's current no longer tells its volts; what is left over for it does."""


def imbalance(group: Pulses, found: Averaged, inputs: Inputs, mutual: Array) -> tuple[Array, Array]:
    """Watts taken less watts accounted for, and the watts that they are a part of, each (sample,). mutual: ohms that every
    two legs share (leg, leg, sample), met where they are solved together."""
    amps = leg_waves(group, found, inputs)
    state = cycle_state(found)
    taken = inputs.emf * found.each_in_phase
    dc = inputs.volts * found.each_amps
    heat = np.asarray(inputs.ohms) * found.each_square
    if found.cross is not None:
        heat = heat + (mutual * found.cross).sum(axis=1)
    ripple, hot = np.zeros_like(inputs.volts), np.broadcast_to(inputs.volts, state.shape)
    if group.henries is None:
        lean = 1.0 / prepare(group.cell, inputs).back
        if inputs.henries is not None:  # a bare rectifier's volts are those that its legs work against
            lean = np.where(inputs.henries > 0.0, 0.0, lean)
        through = amps.sum(axis=0)
        hot = state + lean * (np.roll(state, -1, axis=0) - state) + np.asarray(inputs.esr) * through
        if group.pumped is None:
            ripple = ((through - through.mean(axis=0)) * hot).mean(axis=0)
        else:  # what the other rectifier takes out goes at the volts in the middle
            problem = prepare(group.cell, inputs)
            hot = hot + np.asarray(problem.ramp) * found.state[-1]
            ripple = (through * hot).mean(axis=0) - through.mean(axis=0) * inputs.volts
    # what legs that are solved together drop for each other in windings and mains side
    met = np.zeros_like(amps) if found.cross is None else np.einsum("jkn,kcn->jcn", mutual, amps)
    own = np.array([_own_watts(group, n, inputs, amps[n], hot + met[n]) for n in range(len(amps))])
    missing = taken.sum(axis=0) - (dc + heat + own).sum(axis=0) - ripple
    return np.asarray(missing), np.asarray((np.abs(taken) + np.abs(dc)).sum(axis=0))


def _own_watts(group: Pulses, n: int, x: Inputs, amps: Array, hot: Array) -> Array:
    """Mean heat of a leg's valve or diode through its law (sample,). amps, hot: its current, and the volts that it works
    against (cell, sample)."""
    forward = amps if x.sense is None else x.sense[n] * amps
    i = np.maximum(forward, 0.0)
    if group.legs[n].valve:
        part = np.minimum(i / x.limit[n], STARVED)
        space = i / np.cbrt(1.0 - part**3)
        drop = np.cbrt(space / x.scale[n]) ** 2
        if (part >= STARVED).any():
            angle = 2.0 * np.pi * np.arange(len(amps)) / len(amps)
            emf = group.legs[n].phase * ROOT2 * np.sin(angle)[:, None] * x.emf[n]
            sense = 1.0 if x.sense is None else x.sense[n]
            drop = np.where(part >= STARVED, sense * (emf - hot - x.ohms[n] * amps), drop)
    else:
        drop = x.scale[n] * np.log1p(i / x.limit[n])
    watts = (drop * i).mean(axis=0)
    if x.leak is not None:
        back = np.minimum(forward, 0.0)
        watts = watts + (np.where(back < 0.0, x.leak[n], 0.0) * back**2).mean(axis=0)
    return np.asarray(watts)
