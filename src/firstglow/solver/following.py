"""Capacitors that empty through rectifiers: a junction that comes into its forward direction while they do is passed from
then on.

A cascade doubler's pump stands below the reservoir at switch-off; as the bleeder takes that down, the pump follows it through
the rectifier and feeds it. Between two such moments everything is a sum of exponentials (``decay``), solved exactly: a stage.
A junction that is passed drops nothing here, which keeps what it feeds up a little longer than a real one; what it empties keeps
its drop, so that times are taken to limits that much lower.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.cold import ColdNetwork
from firstglow.solver.decay import Decay, Relaxation
from firstglow.solver.parameters import OPEN_OHMS
from firstglow.solver.passive import Array, Branch, Junction, Passives, Store

FORWARD_VOLTS = 0.3
"""A junction that stands forward by more than this is passed [V]: silicon carries microamps there."""
REVERSE_VOLTS = 1e-6
"""One that is passed and stands back to front by more than this carries nothing any more [V]."""
DROP_VOLTS = 0.7
"""What a capacitor keeps that empties through a junction [V]: silicon (common practice); a selenium plate has no more."""
LEAST_OHMS = 1.0
"""Of a junction that is passed [ohm]; nothing in seconds, and the stages stay well apart."""
LONGEST = 10.0 * 86400.0
"""How long junctions are watched [s]."""
DECADES, GRID = 11.0, 600
MOST_STAGES = 40


@dataclass(frozen=True, slots=True)
class Stage:
    """From ``begin`` [s] on, until the next one begins: one sample's relaxation, which counts its time from there, and which
    junctions are passed."""

    begin: float
    relaxation: Relaxation
    passed: frozenset[str]


@dataclass(frozen=True, slots=True)
class Pieces:
    """One sample's volts over all stages, as ``Decay`` has them. pieces: (begin [s], decay since then). kept: volts that
    junctions keep [V]."""

    pieces: tuple[tuple[float, Decay], ...]
    kept: float

    @property
    def _lengths(self) -> list[float]:
        begins = [begin for begin, _ in self.pieces]
        return [*np.diff(begins), np.inf]

    def at(self, times: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values (time,) at times (time,) [s]."""
        out = np.empty(times.shape)
        for (begin, decay), length in zip(self.pieces, self._lengths, strict=True):
            here = (times >= begin) & (times < begin + length)
            out[here] = decay.at(times[here] - begin)[:, 0]
        return out

    def square_integral(self) -> float:
        """Integral of the square over all time [unit^2 s]."""
        total = 0.0
        for (_, decay), length in zip(self.pieces, self._lengths, strict=True):
            a, tau = decay.amplitudes[:, 0], decay.taus[:, 0]
            rates = 1.0 / tau[:, None] + 1.0 / tau[None, :]
            total += float((np.outer(a, a) / rates * -np.expm1(-length * rates)).sum())
        return total

    def last_above(self, limit: float) -> float:
        """When the size falls below ``limit`` for good, what junctions keep allowed for [s]; 0 where it never stands above."""
        level = max(limit - self.kept, 0.5 * limit)
        for (begin, decay), length in zip(reversed(self.pieces), reversed(self._lengths), strict=True):
            seconds = float(decay.last_above(level)[0])
            if seconds > 0.0:
                return begin + min(seconds, length)
        return 0.0


@dataclass(frozen=True, slots=True)
class Followed:
    """``Pieces`` of every sample, with what is asked of a ``Decay``."""

    samples: tuple[Pieces, ...]

    def at(self, times: NDArray[np.float64]) -> Array:
        """Values (time, sample) at times (time,) or (time, sample) [s]."""
        each = times if times.ndim == 2 else np.repeat(times[:, None], len(self.samples), axis=1)
        if each.shape[1] == 1:
            each = np.repeat(each, len(self.samples), axis=1)
        return np.stack([pieces.at(each[:, k]) for k, pieces in enumerate(self.samples)], axis=1)

    def square_integral(self) -> Array:
        """(sample,) [unit^2 s]."""
        return np.array([pieces.square_integral() for pieces in self.samples])

    def last_above(self, limit: float) -> Array:
        """(sample,) [s]."""
        return np.array([pieces.last_above(limit) for pieces in self.samples])


@dataclass(frozen=True)
class Following:
    """A resting network that empties through junctions too: ``Relaxation``'s questions, by stages. stages: of each sample."""

    stores: tuple[Store, ...]
    stages: tuple[tuple[Stage, ...], ...]

    @cached_property
    def passed(self) -> frozenset[str]:
        """Rectifiers that anything empties through, in any sample."""
        return frozenset(name for stages in self.stages for stage in stages for name in stage.passed)

    def volts(self, number: int) -> Followed:
        """Volts across one of the stores."""
        return self._over([[s.relaxation.volts(number) for s in stages] for stages in self.stages])

    def between(self, a: str, b: str) -> Followed:
        """Volts from joint ``a`` to joint ``b``."""
        return self._over([[s.relaxation.between(a, b) for s in stages] for stages in self.stages])

    def _over(self, decays: Sequence[Sequence[Decay]]) -> Followed:
        return Followed(
            tuple(
                Pieces(
                    tuple((s.begin, d) for s, d in zip(stages, own, strict=True)),
                    DROP_VOLTS * len(frozenset[str]().union(*(s.passed for s in stages))),
                )
                for stages, own in zip(self.stages, decays, strict=True)
            )
        )


@dataclass(frozen=True, slots=True)
class Later:
    """Of two courses of the same volts the one that stands longer, at every moment: which of them it will be is not known."""

    one: Decay | Followed
    two: Decay | Followed

    def at(self, times: NDArray[np.float64]) -> Array:
        """Values (time, sample)."""
        a, b = self.one.at(times), self.two.at(times)
        return np.asarray(np.where(np.abs(a) >= np.abs(b), a, b))

    def square_integral(self) -> Array:
        """(sample,) [unit^2 s]."""
        return np.asarray(np.maximum(self.one.square_integral(), self.two.square_integral()))

    def last_above(self, limit: float) -> Array:
        """(sample,) [s]."""
        return np.asarray(np.maximum(self.one.last_above(limit), self.two.last_above(limit)))


@dataclass(frozen=True)
class Either:
    """A network whose rectifier valves may still be warm, or cold already: a warm one feeds, a cold one keeps."""

    cold: "Relaxation | Following"
    warm: Following

    @property
    def stores(self) -> tuple[Store, ...]:
        """The capacitors."""
        return self.warm.stores

    @property
    def passed(self) -> frozenset[str]:
        """Silicon and selenium that anything empties through; a valve is no way that lasts."""
        return self.cold.passed if isinstance(self.cold, Following) else frozenset()

    def volts(self, number: int) -> Later:
        """Volts across one of the stores."""
        return Later(self.cold.volts(number), self.warm.volts(number))

    def between(self, a: str, b: str) -> Later:
        """Volts from joint ``a`` to joint ``b``."""
        return Later(self.cold.between(a, b), self.warm.between(a, b))


def emptying(
    resting: Passives, extra: Sequence[Branch], network: ColdNetwork, charged: Array
) -> Relaxation | Following | Either:
    """How a network with charged stores empties: junctions as they come forward, valves in whichever way is slower."""
    blocked = Relaxation(network, resting.stores, charged)
    cold = following(resting, extra, blocked, charged) or blocked
    plates = _plates(resting)
    if not plates:
        return cold
    warm = following(replace(resting, junctions=(*resting.junctions, *plates)), extra, blocked, charged)
    return cold if warm is None or not warm.passed & {p.part for p in plates} else Either(cold, warm)


def _plates(resting: Passives) -> tuple[Junction, ...]:
    """The ways through the rectifier valves that are in, as junctions of a name each."""
    wiring = resting.wiring
    return tuple(
        Junction(f"{part.name} {lead}", wiring.joint(part, lead), wiring.joint(part, "cathode"), np.full(1, LEAST_OHMS))
        for part in wiring.amplifier.of_kind("rectifier")
        for lead in ("plate 1", "plate 2")
        if lead in part.leads and wiring.fitted(part) and not wiring.misfits.open(part.name)
    )


def following(resting: Passives, extra: Sequence[Branch], blocked: Relaxation, charged: Array) -> Following | None:
    """The stages of a network whose junctions are all blocked in ``blocked``; None where none ever comes forward.

    charged: volts across each of the stores at the start, (store, sample).
    """
    junctions = [j for j in resting.junctions if j.anode != j.cathode]
    if not any(_first(blocked.between(j.anode, j.cathode), FORWARD_VOLTS) is not None for j in junctions):
        return None
    whole = np.broadcast_to(charged, (charged.shape[0], blocked.samples))
    stages = []
    for k in range(blocked.samples):
        here = _one(resting, k)
        stages.append(_stages(here, [_branch(b, k) for b in extra], whole[:, k : k + 1]))
    return Following(resting.stores, tuple(stages))


def _stages(resting: Passives, extra: Sequence[Branch], charged: Array) -> tuple[Stage, ...]:
    """One sample's: each from the charge that the last one left."""
    out: list[Stage] = []
    passed: frozenset[str] = frozenset()
    begin = 0.0
    while len(out) < MOST_STAGES:
        on = [_passed(j) for j in resting.junctions if j.part in passed]
        relaxation = Relaxation(ColdNetwork(resting, [*extra, *on]), resting.stores, charged)
        out.append(Stage(begin, relaxation, passed))
        found = _next(resting.junctions, passed, relaxation)
        if found is None or begin + found[0] > LONGEST:
            break
        seconds, part = found
        passed = passed ^ {part}
        begin += seconds
        charged = np.stack([relaxation.volts(n).at(np.array([seconds]))[0] for n in range(len(resting.stores))])
    return tuple(out)


def _next(junctions: Sequence[Junction], passed: frozenset[str], now: Relaxation) -> tuple[float, str] | None:
    """When the next junction changes, and which."""
    found = []
    for j in junctions:
        if j.anode == j.cathode:
            continue
        forward = now.between(j.anode, j.cathode)
        if j.part in passed:
            forward = Decay(-forward.amplitudes, forward.taus)
        seconds = _first(forward, REVERSE_VOLTS if j.part in passed else FORWARD_VOLTS)
        if seconds is not None:
            found.append((seconds, j.part))
    return min(found, default=None)


def _first(volts: Decay, limit: float) -> float | None:
    """When any sample first stands above ``limit`` [s]; None for never."""
    grid = np.concatenate([[0.0], LONGEST * np.logspace(-DECADES, 0.0, GRID)])
    above = (volts.at(grid) > limit).any(axis=1)
    if not above.any():
        return None
    at = int(above.argmax())
    if at == 0:
        return 0.0
    low, high = grid[at - 1], grid[at]
    for _ in range(50):
        middle = 0.5 * (low + high)
        if (volts.at(np.array([middle])) > limit).any():
            high = middle
        else:
            low = middle
    return float(high)


def _passed(junction: Junction) -> Branch:
    return Branch(junction.part, junction.anode, junction.cathode, np.maximum(junction.ohms, LEAST_OHMS))


def _branch(branch: Branch, sample: int) -> Branch:
    return replace(branch, ohms=_sample(branch.ohms, sample))


def _sample(values: Array, sample: int) -> Array:
    return values if values.size == 1 else values[sample : sample + 1]


def _one(resting: Passives, sample: int) -> Passives:
    """One sample of a network; junctions that are not there in it are left out."""
    return replace(
        resting,
        branches=tuple(_branch(b, sample) for b in resting.branches),
        stores=tuple(replace(s, farads=_sample(s.farads, sample)) for s in resting.stores),
        junctions=tuple(
            replace(j, ohms=ohms) for j in resting.junctions if (ohms := _sample(j.ohms, sample))[0] < OPEN_OHMS
        ),
    )
