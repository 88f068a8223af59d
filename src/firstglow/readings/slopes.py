"""What each spread does to each reading, at the nominal amplifier: the fast way to a band, and what moves it most."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from firstglow.readings.asked import COLD, STANDING, Block, Cast
from firstglow.readings.meters import Range
from firstglow.readings.observe import Observer
from firstglow.readings.others import SIGNAL, gain_chance
from firstglow.readings.probe import PlannedReading
from firstglow.readings.side_by_side import shared_out, side_by_side
from firstglow.readings.spreads import MAINS, Column

Array = NDArray[np.float64]

# Steps of a difference, in standard deviations of what is moved: wide enough to average a bend, as the band does.
STEP = 0.5
METER = "the meter"
WARMTH, GAINS = "how warm it is", "how the valve types amplify"
# Half the standard deviation's way along a rectangle from 0 to 1.
_HALF = 1 / 12**0.5
# What chance closes is never less than this [SI of the reading]: a logarithm is taken of it.
_CLOSED = 1e-3


@dataclass(frozen=True, slots=True)
class Moved:
    """Contributions to readings, one standard deviation of each.

    names, parts, uniform: (contribution,). sigmas: (contribution, reading) [SI of the reading], signed.
    relative: (contribution,) one standard deviation of what moves over its nominal, 0 for what has none (an offset).
    centre: (reading,) [SI], where chance that is no part's (a junction's opening) is in the middle; nan where there is
        none and the nominal is the middle.
    """

    names: tuple[str, ...]
    parts: tuple[str, ...]
    uniform: NDArray[np.bool_]
    sigmas: Array
    relative: Array
    centre: Array


def moved(
    observer: Observer,
    wanted: Sequence[Block],
    readings: Sequence[PlannedReading],
    columns: Sequence[Column],
    settings: dict[str, float],
) -> Moved:
    """One standard deviation of every spread, in every reading (before any meter).

    settings: valve -> half width of its idle setting, as a fraction.
    """
    observer.learn(wanted, [c.row for c in columns])
    shares = shared_out(wanted, _cost)
    parts = side_by_side([partial(_filled, observer, share, readings, columns, settings) for share in shares])
    table = _Table(observer, readings, columns, settings)
    for sigmas, centre in parts:
        table.sigmas += sigmas
        table.centre = np.where(np.isnan(centre), table.centre, centre)
    return table.moved()


def _cost(block: Block) -> float:
    """Work in one block, roughly, in networks at a frequency."""
    asked = {r.probe.quantity for r in block.readings}
    return 0.1 + 6.0 * bool(asked & {"ripple volts", "hum volts"}) + 4.0 * bool(asked & SIGNAL) + bool(asked & COLD)


def _filled(
    observer: Observer,
    wanted: Sequence[Block],
    readings: Sequence[PlannedReading],
    columns: Sequence[Column],
    settings: dict[str, float],
) -> tuple[Array, Array]:
    """Sigmas (contribution, reading) and centres (reading,) of the readings in some blocks, nothing and nan elsewhere."""
    table = _Table(observer, readings, columns, settings)
    for block in wanted:
        inside = [r for r in block.readings if r.id in table.number]
        by_kind = {
            table.cold: [r for r in inside if r.probe.quantity in COLD],
            table.exact: [r for r in inside if r.probe.quantity in STANDING],
            table.differences: [r for r in inside if r.probe.quantity not in COLD | STANDING | {"look"}],
            table.chance: [r for r in inside if r.probe.quantity in COLD | {"peak volts"}],
            table.gains: [r for r in inside if r.probe.quantity in SIGNAL],
        }
        for find, some in by_kind.items():
            if some:
                find(block, some)
    return table.sigmas, table.centre


def column_sigma(column: Column, block: Block) -> float:
    """Standard deviation of a parameter as it stands in a situation: the mains' goes with the dial."""
    if column.name == MAINS and column.nominal:
        return column.sigma * block.situation.mains_volts / column.nominal
    return column.sigma


class _Table:
    """The table of contributions while it fills: one row a spread, one an idle setting, one for warmth, one a valve
    type's gain; one column a reading."""

    def __init__(
        self,
        observer: Observer,
        readings: Sequence[PlannedReading],
        columns: Sequence[Column],
        settings: Mapping[str, float],
    ) -> None:
        self.observer, self.columns, self.settings = observer, columns, settings
        self.number = {r.id: i for i, r in enumerate(readings)}
        self.types = tuple(sorted({v.type or "" for v in observer.amplifier.of_kind("valve")}))
        self.setting_row = {v: len(columns) + k for k, v in enumerate(settings)}
        self.warmth = len(columns) + len(settings)
        self.sigmas = np.zeros((self.warmth + 1 + len(self.types), len(readings)))
        self.centre = np.full(len(readings), np.nan)

    def moved(self) -> Moved:
        """What was found."""
        own = (*(f"{v} idle setting" for v in self.settings), WARMTH)
        gains = tuple(gain_chance(kind) for kind in self.types)
        flags = [c.shape == "uniform" for c in self.columns] + [True] * len(own) + [False] * len(gains)
        relative = np.zeros(len(self.sigmas))
        relative[: len(self.columns)] = [c.sigma / c.nominal if c.nominal > 0 else 0.0 for c in self.columns]
        return Moved(
            (*(c.name for c in self.columns), *own, *gains),
            (*(c.part or c.name for c in self.columns), *own, *(GAINS for _ in gains)),
            np.array(flags, dtype=bool), self.sigmas, relative, self.centre,
        )  # fmt: skip

    def _see(self, block: Block, readings: Sequence[PlannedReading], cast: Cast) -> dict[str, Array]:
        own = [Block(block.key, block.situation, tuple(readings))]
        return self.observer.see(own, cast, predict=True).values

    def exact(self, block: Block, readings: Sequence[PlannedReading]) -> None:
        """Through the solved point's own Jacobian."""
        from firstglow.solver.sensitivity import Reader

        point = self.observer.point(block)
        x, values = point.standing.x, point.standing.values
        scale = np.array([column_sigma(c, block) for c in self.columns])
        for r in readings:
            i, reader = self.number[r.id], Reader(self.observer.circuit, r.probe)
            slope = reader.slope(x, values)[:, 0]
            moves = slope @ point.by_row
            if r.probe.quantity == "mains amps":
                moves = moves + np.array([reader.direct(x, values, c.row)[0] for c in self.columns])
            self.sigmas[: len(self.columns), i] = moves * scale
            if point.valves:
                for v, by in zip(point.valves, slope @ point.by_setting, strict=True):
                    self.sigmas[self.setting_row[v], i] = by * self.settings[v] / 3**0.5

    def cold(self, block: Block, readings: Sequence[PlannedReading]) -> None:
        """Power-off ohms, in closed form."""
        from firstglow.solver.cold import sensitivities_of

        numbers = [self.number[r.id] for r in readings]
        pairs = [(r.probe.red, r.probe.black) for r in readings]
        slopes = sensitivities_of(self.observer.cold_network(block.situation), pairs)
        for c, column in enumerate(self.columns):
            if column.name in slopes:
                self.sigmas[c, numbers] = slopes[column.name][:, 0] * column.sigma

    def chance(self, block: Block, readings: Sequence[PlannedReading]) -> None:
        """What is neither a part nor the meter: how warm copper or a cathode is, how far the meter opens a junction.
        A junction's share is even in the logarithm, and so is its standard deviation here."""
        values = np.repeat(self.observer.nominal, 3, axis=1)
        seen = self._see(block, readings, Cast(values, level=np.array([0.5 + _HALF, 0.5 - _HALF, 0.5])))
        for r in readings:
            i, (up, down, middle) = self.number[r.id], np.maximum(seen[r.id], _CLOSED)
            self.sigmas[self.warmth, i] = middle * np.log(up / down) / 2.0
            self.centre[i] = middle

    def gains(self, block: Block, readings: Sequence[PlannedReading]) -> None:
        """What the laws may get wrong of a gain, type by type."""
        from scipy.special import ndtr

        count, one = len(self.types), ndtr(np.array([1.0, -1.0]))
        own = {}
        for k, kind in enumerate(self.types):
            own[gain_chance(kind)] = np.full(2 * count, 0.5)
            own[gain_chance(kind)][2 * k : 2 * k + 2] = one
        cast = Cast(np.repeat(self.observer.nominal, 2 * count, axis=1), level=np.full(2 * count, 0.5), levels=own)
        seen = self._see(block, readings, cast)
        for r in readings:
            y = seen[r.id]
            self.sigmas[self.warmth + 1 :, self.number[r.id]] = (y[0::2] - y[1::2]) / 2.0

    def differences(self, block: Block, readings: Sequence[PlannedReading]) -> None:
        """By moving everything half a standard deviation up and down, the standing solution after its slopes: what it
        bends is the same on both sides. A size that is nearly nothing grows both ways: hum of a pair that balances."""
        here = {v: w for v, w in self.settings.items() if v in block.situation.idle}
        count = len(self.columns) + len(here)
        values = np.repeat(self.observer.nominal, 2 * count + 1, axis=1)
        for c, column in enumerate(self.columns):
            values[column.row, 2 * c] += STEP * column.sigma
            values[column.row, 2 * c + 1] -= STEP * column.sigma
        setting: dict[str, Array] = {}
        for k, (valve, width) in enumerate(here.items(), len(self.columns)):
            away = np.zeros(2 * count + 1)
            away[2 * k], away[2 * k + 1] = STEP * width / 3**0.5, -STEP * width / 3**0.5
            setting[valve] = away
        seen = self._see(block, readings, Cast(values, setting, level=np.full(2 * count + 1, 0.5)))
        rows = [*range(len(self.columns)), *(self.setting_row[v] for v in here)]
        for r in readings:
            y, still = seen[r.id][:-1], seen[r.id][-1]
            straight, bent = (y[0::2] - y[1::2]) / (2 * STEP), (y[0::2] + y[1::2] - 2.0 * still) / (2 * STEP)
            self.sigmas[rows, self.number[r.id]] = np.where(bent > np.abs(straight), bent, straight)


def with_meter(found: Moved, on: Sequence[Range], shown: Array, after: Array) -> Moved:
    """The same as the meter shows it: ``after`` (reading,) is shown over true; its own errors added as contributions.

    shown: (reading,) nominal, as shown [SI]. One error of gain a range, one of counts and one of rounding a reading.
    """
    ranges = list(dict.fromkeys((r.kind, r.full) for r in on))
    gains = np.zeros((len(ranges), len(on)))
    offsets = np.zeros((2, len(on)))
    for i, r in enumerate(on):
        gains[ranges.index((r.kind, r.full)), i] = r.gain_limit * abs(shown[i]) / 3**0.5
        offsets[0, i] = r.offset_limit / 3**0.5
        offsets[1, i] = r.step / 2 / 3**0.5
    more = len(ranges) + 2
    return Moved(
        (*found.names, *(f"meter {kind} {full:g}" for kind, full in ranges), "meter counts", "meter rounding"),
        (*found.parts, *((METER,) * more)),
        np.concatenate([found.uniform, np.ones(more, dtype=bool)]),
        np.vstack([found.sigmas * after, gains, offsets]),
        np.concatenate([found.relative, np.zeros(more)]),
        np.where(np.isnan(found.centre), shown, found.centre * after),
    )


def shares(found: Moved, reading: int, most: float = 0.8) -> tuple[tuple[str, float], ...]:
    """(part, share of the variance), largest first, down to ``most`` of the whole."""
    squares: dict[str, float] = {}
    for part, sigma in zip(found.parts, found.sigmas[:, reading], strict=True):
        squares[part] = squares.get(part, 0.0) + float(sigma) ** 2
    total = sum(squares.values())
    if total <= 0.0:
        return ()
    out: list[tuple[str, float]] = []
    covered = 0.0
    for part, square in sorted(squares.items(), key=lambda item: -item[1]):
        if covered >= most or square <= 0.0:
            break
        out.append((part, square / total))
        covered += square / total
    return tuple(out)
