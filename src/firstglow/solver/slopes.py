"""The valves' slopes at a solved point: what the small signal meets."""

import numpy as np

from firstglow.solver.circuit import Circuit
from firstglow.solver.passive import Array
from firstglow.solver.valves import Sections


def valve_slopes(circuit: Circuit, x: Array, values: Array) -> dict[str, dict[tuple[str, str], Array]]:
    """Slopes of every valve section from the circuit's own equations, emission limit included.

    x: the solved unknowns (unknown, sample). values: the parameters they were solved with (parameter, sample).
    Returns valve -> (electrode whose current, electrode whose volts to the cathode) -> siemens (sample,).
    """
    wide = np.concatenate([x, np.zeros((1, x.shape[1]))])
    out: dict[str, dict[tuple[str, str], Array]] = {}
    for group in circuit.equations.groups:
        if isinstance(group, Sections):
            terms = np.empty((group.terms, x.shape[1]))
            slopes = np.empty((group.slopes, x.shape[1]))
            group.flows(wide, group.prepare(values), terms, slopes)
            table = slopes.reshape(len(group.currents) + 1, -1, group.size, x.shape[1])
            for k, part in enumerate(group.parts):
                out[part.name] = {
                    (current, electrode): table[n, e, k].copy()
                    for n, current in enumerate(group.currents)
                    for e, electrode in enumerate(group.electrodes)
                }
    return out


def parameter_values(circuit: Circuit, values: Array) -> dict[str, Array]:
    """A parameter vector (parameter, sample) by name, as cold.py, discharge.py and midband.py take it."""
    return {name: values[row] for name, row in circuit.column.items()}
