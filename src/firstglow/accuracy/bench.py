"""A fragment solved at its nominal values and with every valve law moved by its own uncertainty."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.devices.catalogue import ValveType, valve_type
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.frame import Array
from firstglow.solver.slopes import parameter_values, valve_slopes
from firstglow.solver.smallsignal import Slopes
from firstglow.solver.standing import SolveError, Standing

HEAD = 'format = 1\nfragment = true\namplifier = {{ name = "{name}", drawing = "published figures" }}\n[parts]\n'


@dataclass(frozen=True, slots=True)
class Solved:
    """A fragment's solutions: sample 0 is nominal, then two samples for each uncertain law parameter, 1 sigma up and down."""

    circuit: Circuit
    values: Array
    standing: Standing
    situation: Situation

    @property
    def amplifier(self) -> Amplifier:
        """What was read from the text."""
        return self.circuit.amplifier

    def slopes(self) -> Slopes:
        """Every valve's slopes at the solved points."""
        return valve_slopes(self.circuit, self.standing.x, self.values)

    def by_name(self) -> dict[str, Array]:
        """Parameters by name, as the linear solutions take them."""
        return parameter_values(self.circuit, self.values)


def fragment(name: str, lines: list[str]) -> str:
    """The text of a fragment file."""
    return HEAD.format(name=name) + "\n".join(lines) + "\n"


def solve_with_laws(
    text: str,
    laws: Mapping[str, ValveType],
    settle: Callable[[Solved], Mapping[str, Array]] | None = None,
    situation: Mapping[str, object] | None = None,
) -> Solved:
    """Read a file's text, compile it with these laws and solve it.

    laws: valve types by name that replace the catalogue's. settle: from a solution, parameters (name -> (sample,)) that
    follow from it (a supply that is stated to the cathode); solved again until they stand still. Raises SolveError.
    """
    amplifier = load(text)
    # the file's spelling of a type may be another designation of the same valve
    circuit = compile_circuit(amplifier, lambda asked: laws.get(valve_type(asked).name, valve_type(asked)))
    stands = Situation(mains_volts=amplifier.mains_volts).but(**(situation or {}))
    nominal = circuit.nominal[:, None]
    uncertain = [i for i, q in enumerate(circuit.parameters) if q.name.startswith("type ") and q.spread > 0]
    values = np.repeat(nominal, 1 + 2 * len(uncertain), axis=1)
    for k, i in enumerate(uncertain):
        values[i, 1 + 2 * k] += circuit.parameters[i].spread
        values[i, 2 + 2 * k] -= circuit.parameters[i].spread
    values = circuit.apply(values, stands)
    solved = Solved(circuit, values, circuit.solve(values), stands)
    for _ in range(60 if settle else 0):
        assert settle is not None
        moved = 0.0
        for parameter, volts in settle(solved).items():
            row = circuit.column[parameter]
            moved = max(moved, float(np.max(np.abs(values[row] - volts))))
            values[row] = volts
        if moved < 1e-6:
            break
        solved = Solved(circuit, values, again(circuit, values, solved.standing.x), stands)
    return solved


def again(circuit: Circuit, values: Array, start: Array) -> Standing:
    """Solved from near by, or else from cold."""
    try:
        return circuit.solve(values, start)
    except SolveError:
        return circuit.solve(values)


def expanded(samples: Array) -> tuple[float, float]:
    """Nominal value and expanded uncertainty (k = 2) from samples laid out as ``Solved`` has them."""
    halves = (samples[1::2] - samples[2::2]) / 2.0
    return float(samples[0]), 2.0 * float(np.sqrt(np.sum(halves**2)))


def either(ways: Sequence[Array]) -> tuple[float, float]:
    """``expanded`` where a print can be read in several ways: the mean of them, and their spread as a rectangle's.

    The readings are a uniform distribution's ends: half over root 3 (JCGM 100 4.3.7), times 2.
    """
    values = [expanded(samples) for samples in ways]
    half = (max(v for v, _ in values) - min(v for v, _ in values)) / 2.0
    width = float(np.hypot(max(u for _, u in values), 2.0 * half / np.sqrt(3.0)))
    return float(np.mean([v for v, _ in values])), width
