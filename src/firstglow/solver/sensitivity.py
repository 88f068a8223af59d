"""Readings of a solved circuit and how they move: one back substitution a reading gives its slope by every parameter."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.frame import Array, Coefficients
from firstglow.solver.nodes import CHASSIS

if TYPE_CHECKING:
    from firstglow.solver.circuit import Circuit

STEP = 1e-5
"""Relative change of a parameter in its difference quotient; at fixed volts every part's current is a smooth function
of its own parameters, so the error is about its square."""
BATCH = 2048
TINY = 1e-30
TRACE_VOLTS = 1e-9
"""Ac volts below this have no phase [V]."""
Value = Callable[[Array, Array], Array]


class Reader:
    """What a probe reads as a function of unknowns and parameters, and its slopes by the unknowns.

    Raises KeyError for an unknown joint and ValueError for a quantity that the standing solution does not answer.
    """

    def __init__(self, circuit: "Circuit", probe: Any) -> None:
        self.circuit, self.index = circuit, circuit.index
        quantity = getattr(probe, "quantity", "volts")
        if quantity == "mains amps":
            self.value: Value = self._mains_amps
            self.uses = self._feed()
        elif quantity == "lamp":
            self.value, self.uses = self._lamp, self._feed()
        elif quantity != "volts":
            raise ValueError(f"the standing solution does not answer {quantity}; ask the solution that does")
        elif getattr(probe, "kind", "dc volts") == "ac volts":
            self.pair = self._known(probe.red, "ac"), self._known(probe.black, "ac")
            self.value, self.uses = self._ac, sorted({k for ends in self.pair for k in ends if k is not None})
        else:
            self.ends = self._known(probe.red, "dc")[0], self._known(probe.black, "dc")[0]
            self.value, self.uses = self._dc, sorted({k for k in self.ends if k is not None})

    def _known(self, joint: str, kind: str) -> tuple[int | None, int | None]:
        index = self.index
        if joint != CHASSIS and f"dc {joint}" not in index and f"ac {joint}" not in index:
            raise KeyError(joint)
        return index.get(f"{kind} {joint}"), index.get(f"quadrature {joint}") if kind == "ac" else None

    def _feed(self) -> list[int]:
        names = ["lamp ohms", "lamp harmonics"]
        for part in self.circuit.amplifier.of_kind("inlet"):
            for lead in ("line", "neutral"):
                node = self.circuit.frame.lead(part, lead)
                names += [f"ac {node}", f"quadrature {node}"]
        return [self.index[n] for n in names if n in self.index]

    def _dc(self, x: Array, p: Array) -> Array:
        zero = np.zeros(x.shape[1])
        red, black = (zero if k is None else x[k] for k in self.ends)
        return red - black

    def _ac(self, x: Array, p: Array) -> Array:
        zero = np.zeros(x.shape[1])
        (r, rq), (b, bq) = self.pair
        in_phase = (zero if r is None else x[r]) - (zero if b is None else x[b])
        lag = (zero if rq is None else x[rq]) - (zero if bq is None else x[bq])
        return np.asarray(np.sqrt(in_phase**2 + lag**2 + TRACE_VOLTS**2))

    def _mains_amps(self, x: Array, p: Array) -> Array:
        """Rms amps from the socket, the pulses' harmonics included."""
        f = self.circuit.frame
        inlet = self.circuit.amplifier.of_kind("inlet")[0]
        line, neutral = f.lead(inlet, "line"), f.lead(inlet, "neutral")
        re = p[self.circuit.column["mains volts"]] + x[self.index[f"ac {neutral}"]] - x[self.index[f"ac {line}"]]
        im = x[self.index[f"quadrature {neutral}"]] - x[self.index[f"quadrature {line}"]]
        ohms = x[self.index["lamp ohms"]]
        return np.asarray(np.sqrt((re / ohms) ** 2 + (im / ohms) ** 2 + x[self.index["lamp harmonics"]] + 1e-24))

    def _lamp(self, x: Array, p: Array) -> Array:
        """Volts across the limiter lamp over its rated volts; 0 when there is none."""
        inside = p[self.circuit.column["lamp in"]]
        volts = self._mains_amps(x, p) * x[self.index["lamp ohms"]]
        return np.asarray(inside * volts / self.circuit.amplifier.mains_volts)

    def slope(self, x: Array, p: Array) -> Array:
        """d reading / d unknown, (unknown, sample), by complex step."""
        out = np.zeros_like(x)
        work = x.astype(complex)
        for k in self.uses:
            work[k] += 1j * TINY
            out[k] = self.value(work, p).imag / TINY
            work[k] = x[k]
        return out

    def direct(self, x: Array, p: Array, row: int) -> Array:
        """d reading / d parameter in the reading's own formula (sample,)."""
        work = p.astype(complex)
        work[row] += 1j * TINY
        return np.asarray(self.value(x, work)).imag / TINY


class Tangent:
    """The factored Jacobian of a solved batch."""

    def __init__(self, circuit: "Circuit", x: Array, values: Array) -> None:
        self.circuit, self.x, self.values = circuit, x, values
        equations = circuit.equations
        with np.errstate(all="ignore"):
            at = equations.prepare(values)
            for c in at.coefficients:
                c["exact"] = np.array(True)
            _, slots = equations.evaluate(x, at)
            self.factors = equations.elimination.factored(slots, pivoting=False)

    def solve(self, rows: Array) -> Array:
        """J^-1 applied to (unknown, ..., sample)."""
        out = np.array(rows, dtype=float)
        self.factors.solve(out)
        return out

    def adjoint(self, rows: Array) -> Array:
        """J^-T applied to (unknown, ..., sample)."""
        out = np.array(rows, dtype=float)
        self.factors.solve(out, transposed=True)
        return out

    def source_ohms(self, red: str, black: str = CHASSIS) -> Array:
        """Thevenin ohms between two joints at dc (sample,)."""
        return np.asarray(self.ohms_of([(red, black)])[0])

    def ohms_of(self, pairs: Sequence[tuple[str, str]]) -> Array:
        """The same of several pairs (red, black) of joints, (pair, sample)."""
        index = self.circuit.index
        inject = np.zeros((self.x.shape[0], len(pairs), self.x.shape[1]))
        ends = [[(index.get(f"dc {j}"), s) for j, s in ((red, 1.0), (black, -1.0))] for red, black in pairs]
        for k, (pair, two) in enumerate(zip(pairs, ends, strict=True)):
            for joint, (row, sign) in zip(pair, two, strict=True):
                if row is not None:
                    inject[row, k] += sign
                elif joint != CHASSIS and f"ac {joint}" not in index:
                    raise KeyError(joint)
        moved = self.solve(inject)
        none = np.zeros(self.x.shape[1])
        found = [sum((s * moved[row, k] for row, s in two if row is not None), none) for k, two in enumerate(ends)]
        return np.array(found).reshape(len(pairs), -1)

    def follows(self, joint: str, driven: str) -> Array:
        """How far a joint's dc moves with another's where current is driven into that one: a divider's share (sample,)."""
        rows = [self.circuit.index.get(f"dc {name}") for name in (joint, driven)]
        moves, drives = rows
        if moves is None or drives is None:
            return np.zeros(self.x.shape[1])
        inject = np.zeros((self.x.shape[0], 1, self.x.shape[1]))
        inject[drives] = 1.0
        moved = self.solve(inject)[:, 0]
        return np.asarray(moved[moves] / moved[drives])

    def residual_slopes(self, rows: Sequence[int]) -> Array:
        """d residual / d parameter at the solved unknowns, (unknown, parameter, sample)."""
        n = self.x.shape[1]
        out = np.empty((self.x.shape[0], len(rows), n))
        some = max(1, BATCH // (2 * n))
        for first in range(0, len(rows), some):
            part = list(rows[first : first + some])
            out[:, first : first + len(part)] = self._differences(part)
        return out

    def _differences(self, rows: list[int]) -> Array:
        n, m = self.x.shape[1], len(rows)
        p = np.empty((len(self.values), 2, m, n))
        p[:] = self.values[:, None, None, :]
        h = STEP * np.where(self.values[rows] == 0.0, 1.0, np.abs(self.values[rows]))
        for k, row in enumerate(rows):
            p[row, 0, k] += h[k]
            p[row, 1, k] -= h[k]
        x = np.broadcast_to(self.x[:, None, None, :], (self.x.shape[0], 2, m, n)).reshape(self.x.shape[0], -1)
        wide = np.concatenate([x, np.zeros((1, x.shape[1]))])
        equations = self.circuit.equations
        change = np.zeros((equations.incidence.shape[1], m * n))
        with np.errstate(all="ignore"):
            for group, span in zip(equations.groups, equations.term_spans, strict=True):
                c = group.prepare(p.reshape(len(p), -1))
                # a group none of whose coefficients moved has the same currents on both sides
                moved = _moved(c, m * n)
                if moved.any():
                    both = np.concatenate([moved, moved])
                    own = {name: a[..., both] if a.ndim and a.shape[-1] == len(both) else a for name, a in c.items()}
                    terms, slopes = (np.empty((k, int(both.sum()))) for k in (group.terms, group.slopes))
                    group.flows(wide[:, both], own | {"exact": np.array(True)}, terms, slopes)
                    up, down = np.split(terms, 2, axis=1)
                    change[span, moved] = up - down
        return np.asarray((equations.incidence @ change).reshape(-1, m, n) / (2.0 * h))

    def sensitivities(self, probes: Sequence[Any], rows: Sequence[int] | None = None) -> Array:
        """d reading / d parameter, (probe, parameter, sample); parameters that are not in ``rows`` stay 0."""
        circuit = self.circuit
        if rows is None:
            rows = [k for k, q in enumerate(circuit.parameters) if q.spread > 0.0]
        readers = [Reader(circuit, probe) for probe in probes]
        n = self.x.shape[1]
        wanted = np.stack([r.slope(self.x, self.values) for r in readers], axis=1)
        ahead = self.adjoint(-wanted)
        moves = self.residual_slopes(rows)
        out = np.zeros((len(readers), len(circuit.parameters), n))
        out[:, rows] = np.einsum("ups,uqs->pqs", ahead, moves)
        self._direct(readers, rows, out)
        return out

    def _direct(self, readers: list[Reader], rows: Sequence[int], out: Array) -> None:
        """What a parameter does to a reading's own formula (the mains current's mains volts)."""
        mains = self.circuit.column["mains volts"]
        for k, reader in enumerate(readers):
            if mains in rows:
                out[k, mains] += reader.direct(self.x, self.values, mains)


def _moved(c: Coefficients, half: int) -> NDArray[np.bool_]:
    """Columns in which any coefficient of the first half differs from the second half's (column,)."""
    out = np.zeros(half, dtype=bool)
    for a in c.values():
        if a.ndim and a.shape[-1] == 2 * half:
            out |= (a[..., :half] != a[..., half:]).reshape(-1, half).any(axis=0)
    return out
