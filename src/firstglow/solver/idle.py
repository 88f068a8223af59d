"""Pots turned until their valves idle at a target: the pots' positions join the unknowns, the idle amps the equations.

A bordered Newton solution, all samples together. A pot that comes to its end stays there: what then stands is the result,
and the valve is reported as out of travel.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.equations import Equations, Prepared
from firstglow.solver.frame import Array
from firstglow.solver.linear_parts import LinearParts
from firstglow.solver.newton import CHUNK, SETTLED, only_floats
from firstglow.solver.standing import SolveError, Standing
from firstglow.solver.valves import Sections

if TYPE_CHECKING:
    from firstglow.solver.circuit import Circuit

STEPS = 40
LONGEST_TURN = 0.25
"""Most that a pot is turned in one step, as a part of its travel."""
REGAIN = 1.3
"""A pot that turns back may be turned half as far in its next step, and so much further again in each one that goes on: a
valve that starts to draw far along the track is else jumped over and back without end."""
TURN = 1e-6
"""Change of position for a pot's own slopes."""
BLIND_SIEMENS = 1e-7
"""Amps a whole turn would give: below this the valve is cut off, and only its grid tells which way to turn."""
REACHED = 1e-6
"""Part of the target within which an idle counts as reached."""


@dataclass(frozen=True, slots=True)
class Idle:
    """standing: the solution with the pots where they ended. pots: position 0..1 (sample,). out_of_travel: valve ->
    (sample,), its pot came to an end before the target."""

    standing: Standing
    pots: Mapping[str, Array]
    out_of_travel: Mapping[str, NDArray[np.bool_]]


class Cathode:
    """A valve's cathode current and its slopes by the unknowns, out of the circuit's own terms and slopes."""

    def __init__(self, equations: Equations, valve: str) -> None:
        place = {k: row for row, k in enumerate(equations.order)}
        for group, span in zip(equations.groups, equations.term_spans, strict=True):
            if isinstance(group, Sections) and valve in [p.name for p in group.parts]:
                k = [p.name for p in group.parts].index(valve)
                self.terms = [span.start + n * group.size + k for n in range(len(group.currents))]
                self.grid, self.cathode = int(group.at["grid"][k]), int(group.at["cathode"][k])
                break
        else:
            raise KeyError(valve)
        self.slopes = [
            (place[q], columns) for q, (term, columns) in enumerate(equations.plan.slopes) if term in self.terms
        ]

    def amps(self, terms: Array) -> Array:
        """Cathode amps (sample,)."""
        return np.asarray(terms[self.terms].sum(axis=0))

    def moves(self, slopes: Array, y: Array) -> Array:
        """How the amps move with the unknowns along ``y`` (unknown, way, sample): (way, sample)."""
        out = np.zeros(y.shape[1:])
        for row, columns in self.slopes:
            for c, sign in columns.items():
                out += sign * slopes[row] * y[c]
        return out

    def grid_move(self, y: Array) -> Array:
        """How the grid moves against the cathode for a move ``y`` of the unknowns."""
        wide = np.concatenate([y, np.zeros((1, y.shape[1]))])
        return np.asarray(wide[self.grid] - wide[self.cathode])


class PotTurn:
    """One pot: its position's row, what a turn does to the residual, and setting it in a prepared batch."""

    def __init__(self, circuit: "Circuit", pot: str) -> None:
        self.equations = circuit.equations
        linear = circuit.equations.groups[0]
        assert isinstance(linear, LinearParts)
        self.row = circuit.column[f"{pot} position"]
        self.pulls, self.makers = linear.pot_pulls(pot)
        self.a, self.b = linear.a[self.pulls], linear.b[self.pulls]
        self.rows = circuit.equations.incidence[:, self.pulls]
        slots = circuit.equations.scatter_still[:, self.pulls]
        self.touched = np.flatnonzero(np.diff(slots.indptr))  # the slots that a turn moves; the rest are left alone
        self.slots = slots[self.touched]

    def siemens(self, p: Array, position: Array) -> Array:
        """Conductance of the pot's pulls at a position (pull, sample). ``p`` is lent: a copy of all of it would cost more than
        the rest of a step."""
        own = p[self.row].copy()
        p[self.row] = position
        made = np.array([m(p) for m in self.makers])
        p[self.row] = own
        return made

    def slope(self, p: Array, x: Array) -> Array:
        """d residual / d position (unknown, sample)."""
        at = p[self.row].copy()
        up, down = np.minimum(at + TURN, 1.0), np.maximum(at - TURN, 0.0)
        change = (self.siemens(p, up) - self.siemens(p, down)) / (up - down)
        wide = np.concatenate([x, np.zeros((1, x.shape[1]))])
        return np.asarray(self.rows @ (change * (wide[self.a] - wide[self.b])))

    def set(self, p: Array, at: Prepared, position: Array) -> None:
        """Turn to a position, in the parameters and in what was prepared from them."""
        p[self.row] = position
        new = self.siemens(p, position)
        pull = at.coefficients[0]["pull"]
        at.fixed[self.touched] += self.slots @ (new - pull[self.pulls])
        pull[self.pulls] = new


def stand(circuit: "Circuit", situation: Situation, faults: Sequence[Fault] = ()) -> Idle:
    """The amplifier as it stands in a situation, one sample, its presets turned to the idles that the situation wants.
    Raises SolveError."""
    laid = circuit.vector(situation, faults)
    if not situation.idle:
        return Idle(circuit.solve(laid), {}, {})
    amps = {v: np.full(1, a) for v, a in situation.idle.items()}
    made = solve_idle(circuit, laid, amps)
    if not made.standing.settled.all():
        valves = pots_of(circuit, amps)
        far = {
            pot: abs(float(sum(cathode_amps(made.standing, v) - amps[v] for v in own)[0]))
            for pot, own in valves.items()
        }
        pot = max(far, key=lambda name: far[name])
        told = f"{' and '.join(valves[pot])}: turning {pot} does not bring it to its idle, and comes to no end"
        raise SolveError(f"would not settle; {told}", pot, (0,))
    return made


def solve_idle(
    circuit: "Circuit", laid: Array, targets: Mapping[str, Array], start: Array | None = None, strict: bool = True
) -> Idle:
    """Turn each valve's pot (``amplifier.idle``) until its cathode current is the target.

    laid: what ``apply`` gave (parameter, sample), each column maybe with its own faults. targets: valve section ->
    amps (sample,) or a number; valves without a pot are left as they are; valves that share one are set by their sum; a sample
    with NaN leaves that pot alone.
    Raises SolveError when ``strict`` and a sample would not settle.
    """
    p = np.array(laid, dtype=float)
    p = p[:, None] if p.ndim == 1 else p
    valves = pots_of(circuit, targets)
    amps = {v: np.broadcast_to(np.asarray(t, dtype=float), (p.shape[1],)) for v, t in targets.items()}
    if not valves:
        return result(circuit.solve(p, start, strict=False), valves, amps)
    # where the pots are turned from need not be proved: where they end is
    found = circuit.newton(p, start)
    if found.settled.all():
        made = _turned(circuit, p, found.x, valves, amps)
        if made.standing.settled.all():
            return made
    x = circuit.solve(p, start, strict=False).x
    return _turned(circuit, p, x, valves, amps, strict)


def _turned(
    circuit: "Circuit", p: Array, x: Array, valves: Mapping[str, list[str]], amps: Mapping[str, Array],
    strict: bool = False,
) -> Idle:  # fmt: skip
    """The standing solution with the pots turned, from the unknowns as they stand before that."""
    q, y, rest = turned_to(circuit, p, x, valves, amps)
    made = result(circuit.solve(q, np.where(np.isfinite(y), y, x), strict=strict), valves, amps)
    lost = ~(rest & made.standing.settled)
    if len(valves) > 1 and lost.any():
        from firstglow.solver.stuck_pot import one_at_its_end  # which asks back here

        made = one_at_its_end(circuit, p, made, valves, amps, np.flatnonzero(lost))
    return made


def turned_to(
    circuit: "Circuit", p: Array, x: Array, valves: Mapping[str, list[str]], amps: Mapping[str, Array]
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Parameters, unknowns, and which samples came to rest."""
    p, x, rest = np.array(p), np.array(x), np.zeros(p.shape[1], dtype=bool)
    turn = Turning(circuit, valves)
    for first in range(0, p.shape[1], CHUNK):
        part = slice(first, first + CHUNK)
        wanted = np.array([sum(amps[v][part] for v in names) for names in valves.values()])
        p[:, part], x[:, part], rest[part] = turn.run(p[:, part], x[:, part], wanted)
    return p, x, rest


def pots_of(circuit: "Circuit", targets: Iterable[str]) -> dict[str, list[str]]:
    """The pots that set these valves, each with its valves; a valve without one is left out."""
    idle = circuit.amplifier.idle
    valves: dict[str, list[str]] = {}
    for valve in targets:
        pot = idle[valve].pot if valve in idle else None
        if pot is not None:
            valves.setdefault(pot, []).append(valve)
    return valves


def result(standing: Standing, valves: Mapping[str, list[str]], amps: Mapping[str, Array]) -> Idle:
    """What became of each pot and each valve. ``standing.settled`` loses the samples that missed for no reason."""
    p = standing.values
    rows = standing.circuit.column
    out: dict[str, NDArray[np.bool_]] = {v: np.zeros(standing.samples, dtype=bool) for v in amps}
    for pot, names in valves.items():
        total = sum(cathode_amps(standing, v) for v in names)
        wanted_sum = sum(amps[v] for v in names)
        ended = (p[rows[f"{pot} position"]] <= 0.0) | (p[rows[f"{pot} position"]] >= 1.0)
        missed = np.abs(total - wanted_sum) > REACHED * np.abs(wanted_sum)
        for v in names:
            out[v] = missed & ended
        standing.settled[missed & ~ended] = False
    pots = {pot: p[rows[f"{pot} position"]] for pot in valves}
    return Idle(standing, pots, out)


def cathode_amps(standing: Standing, valve: str) -> Array:
    """All that leaves through a valve's cathode (sample,) [A]."""
    row = standing.part(valve)
    zero = np.zeros(standing.samples)
    gas = row["plate_amps"] * standing.values[standing.circuit.column[f"{valve} gas"]]
    return np.asarray(row["plate_amps"] + row.get("screen_amps", zero) + row["grid_amps"] + gas)


@dataclass(frozen=True, slots=True)
class Care:
    """How a batch is solved. at: its parameters prepared. settled: largest last step. steps: most that are taken.
    together: so many of them by all samples; after that, once ``most`` of them (a share) are at rest, the others go on alone.
    last: which samples need no further step, from the sizes of the last two."""

    at: Prepared
    settled: float = SETTLED
    steps: int = STEPS
    together: int = STEPS
    most: float = 1.0
    last: Callable[[Array, Array], NDArray[np.bool_]] | None = None


class Turning:
    """The bordered Newton solution."""

    def __init__(self, circuit: "Circuit", valves: Mapping[str, list[str]]) -> None:
        self.equations = circuit.equations
        self.pots = [PotTurn(circuit, pot) for pot in valves]
        self.cathodes = [[Cathode(circuit.equations, v) for v in names] for names in valves.values()]

    def run(
        self, p: Array, x: Array, wanted: Array, care: "Care | None" = None
    ) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Parameters with the pots turned, unknowns, and which samples came to rest."""
        p, x = np.array(p), np.array(x)
        with np.errstate(all="ignore"):
            care = care or Care(self.equations.prepare(p))
            return p, x, self._steps(p, x, wanted, care)

    def _steps(self, whole_p: Array, whole_x: Array, wanted: Array, care: "Care") -> NDArray[np.bool_]:
        """Step by step, in place; which samples came to rest."""
        at, n = care.at, whole_p.shape[1]
        came, live, p, x = np.zeros(n, dtype=bool), np.arange(n), whole_p, whole_x
        rest, before = np.zeros(n, dtype=bool), np.full(n, np.inf)
        longest, last = np.full((len(self.pots), n), LONGEST_TURN), np.zeros((len(self.pots), n))
        for step in range(1, care.steps + 1):
            dx, turn, residual = self._step(p, x, wanted, at, longest)
            longest = np.where(turn * last < 0.0, longest / 2.0, np.minimum(longest * REGAIN, LONGEST_TURN))
            last, turned = turn, np.abs(turn).max(axis=0)
            change = (np.abs(dx) / (self.equations.unit[:, None] + np.abs(x))).max(axis=0)
            good = np.isfinite(change) & ~rest
            if good.all():
                x += dx
            else:
                x[:, good] += dx[:, good]
            for pot, d in zip(self.pots, turn, strict=True):
                pot.set(p, at, np.clip(p[pot.row] + np.where(good, d, 0.0), 0.0, 1.0))
            there = (change < care.settled) | only_floats(change, residual)
            there &= turned < care.settled
            if care.last is not None:
                size = np.maximum(change, turned)
                there |= care.last(size, before)
                before = size
            rest |= good & there
            came[live] = rest
            last_step = step == care.steps or bool(rest.all())
            if last_step or (step >= care.together and rest.mean() >= care.most):
                if p is not whole_p:
                    whole_p[:, live], whole_x[:, live] = p, x
                if last_step:
                    break
                stay = ~rest
                p, x, at, live, wanted = p[:, stay], x[:, stay], at.keep(stay), live[stay], wanted[:, stay]
                rest, before, longest, last = rest[stay], before[stay], longest[:, stay], last[:, stay]
        return came

    def _step(self, p: Array, x: Array, wanted: Array, at: Prepared, longest: Array) -> tuple[Array, Array, Array]:
        """What the unknowns move by, what each pot is turned by (pot, sample), and the residual before it."""
        e = self.equations
        terms, slopes = e.filled(x, at)
        residual, slots = e.assemble(terms, slopes, at)
        sides = np.empty((e.size, 1 + len(self.pots), p.shape[1]))
        factors, still = e.elimination.factored(slots), -residual
        factors.solve(still)
        # what a turn does is in proportion to the volts along the track: those that stand there once the last turn has
        # been followed, or the slope near a track's end comes out many times too steep
        turned = np.stack([pot.slope(p, x + still) for pot in self.pots], axis=1)
        factors.solve(turned)
        sides[:, 0], sides[:, 1:] = still, turned
        turn = self._turn(p, terms, slopes, sides, wanted, longest)
        for k, by in enumerate(turn):
            turned[:, k] *= by
        still -= turned.sum(axis=1)
        return still, turn, residual

    def _turn(self, p: Array, terms: Array, slopes: Array, sides: Array, wanted: Array, longest: Array) -> Array:
        """How far to turn each pot (pot, sample), ``longest`` at most: the borders' own small system, pots at their ends
        held."""
        n = len(self.pots)
        moves = np.array([sum(c.moves(slopes, sides) for c in group) for group in self.cathodes])
        amps = np.array([sum(c.amps(terms) for c in group) for group in self.cathodes])
        alone = np.isnan(wanted)
        short, matrix = np.where(alone, 0.0, amps + moves[:, 0] - wanted), moves[:, 1:]
        position = np.array([p[pot.row] for pot in self.pots])
        held = alone.copy()
        for _ in range(n + 1):
            turn = self._solve(matrix, short, held, sides)
            pushed = ((position <= 0.0) & (turn < 0.0)) | ((position >= 1.0) & (turn > 0.0))
            if not (pushed & ~held).any():
                break
            held |= pushed
        turn = self._released(matrix, short, held, alone, turn, position, sides)
        turn = np.clip(np.where(held, 0.0, turn), -longest, longest)
        return np.asarray(np.clip(position + turn, 0.0, 1.0) - position)

    def _released(
        self, matrix: Array, short: Array, held: NDArray[np.bool_], alone: NDArray[np.bool_], turn: Array, position: Array,
        sides: Array,
    ) -> Array:  # fmt: skip
        """The same turn, or another where a pot was held at its end for what the others were about to do and did not: what
        its own valve then misses says to come off."""
        missed = short - np.einsum("kjs,js->ks", matrix, np.where(held, 0.0, turn))
        own = np.einsum("kks->ks", matrix)
        way = np.where(np.abs(own) > BLIND_SIEMENS, missed / np.where(own == 0.0, 1.0, own), 0.0)
        off = held & ~alone & (((position >= 1.0) & (way < 0.0)) | ((position <= 0.0) & (way > 0.0)))
        if not off.any():
            return turn
        held &= ~off
        return self._solve(matrix, short, held, sides)

    def _solve(self, matrix: Array, short: Array, held: NDArray[np.bool_], sides: Array) -> Array:
        n = len(self.pots)
        a = np.moveaxis(matrix, -1, 0).copy()
        b = short.T.copy()
        for k in range(n):
            own = matrix[k, k]
            blind = ~(np.abs(own) > BLIND_SIEMENS)
            fixed = held[k] | blind
            a[fixed, k, :] = 0.0
            a[fixed, k, k] = 1.0
            # a valve that is cut off says nothing: turn so that its grid comes nearer to its cathode
            grid = sum(c.grid_move(sides[:, 1 + k]) for c in self.cathodes[k])
            way = np.where(short[k] < 0.0, -np.sign(grid), np.sign(grid)) * LONGEST_TURN
            b[fixed, k] = np.where(held[k], 0.0, way)[fixed]
        bad = ~np.isfinite(a).all(axis=(1, 2)) | ~np.isfinite(b).all(axis=1)
        a[bad], b[bad] = np.eye(n), 0.0
        try:
            turn = np.linalg.solve(a, b[..., None])[..., 0].T
        except (
            np.linalg.LinAlgError
        ):  # a fault may leave two pots doing the same thing: the least turn that serves both
            turn = (np.linalg.pinv(a) @ b[..., None])[..., 0].T
        return np.where(bad, 0.0, turn)
