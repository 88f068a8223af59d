"""What each spread does to each reading, at the nominal amplifier: the fast way to a band, and what moves it most."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from firstglow.readings.meters import Range
from firstglow.readings.observe import COLD, STANDING, Block, Cast, Observer
from firstglow.readings.others import SIGNAL
from firstglow.readings.probe import PlannedReading
from firstglow.readings.spreads import MAINS, Column

Array = NDArray[np.float64]

# Steps of a difference, in standard deviations of what is moved: wide enough to average a bend, as the band does.
STEP = 0.5


@dataclass(frozen=True, slots=True)
class Moved:
    """Contributions to readings, one standard deviation of each.

    names, parts, uniform: (contribution,). sigmas: (contribution, reading) [SI of the reading], signed.
    """

    names: tuple[str, ...]
    parts: tuple[str, ...]
    uniform: NDArray[np.bool_]
    sigmas: Array


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
    number = {r.id: i for i, r in enumerate(readings)}
    size = len(columns) + len(settings) + 2
    sigmas = np.zeros((size, len(readings)))
    observer.learn(wanted, [c.row for c in columns])
    for block in wanted:
        inside = [r for r in block.readings if r.id in number]
        by_kind = {
            _cold: [r for r in inside if r.probe.quantity in COLD],
            _exact: [r for r in inside if r.probe.quantity in STANDING],
            _differences: [r for r in inside if r.probe.quantity not in COLD | STANDING | {"look"}],
            _chance: [r for r in inside if r.probe.quantity in COLD | {"peak volts"}],
            _gains: [r for r in inside if r.probe.quantity in SIGNAL],
        }
        for find, some in by_kind.items():
            if some:
                find(observer, block, some, columns, settings, number, sigmas)
    own = (*(f"{v} idle setting" for v in settings), "how warm it is", "how the valve types amplify")
    names, parts = (*(c.name for c in columns), *own), (*(c.part or c.name for c in columns), *own)
    flags = np.array([c.shape == "uniform" for c in columns] + [True] * len(own), dtype=bool)
    return Moved(names, parts, flags, sigmas)


def column_sigma(column: Column, block: Block) -> float:
    """Standard deviation of a parameter as it stands in a situation: the mains' goes with the dial."""
    if column.name == MAINS and column.nominal:
        return column.sigma * block.situation.mains_volts / column.nominal
    return column.sigma


def _exact(
    observer: Observer,
    block: Block,
    readings: Sequence[PlannedReading],
    columns: Sequence[Column],
    settings: dict[str, float],
    number: dict[str, int],
    sigmas: Array,
) -> None:
    """Through the solved point's own Jacobian."""
    from firstglow.solver.sensitivity import Reader

    point = observer.point(block)
    x, values = point.standing.x, point.standing.values
    scale = np.array([column_sigma(c, block) for c in columns])
    valves = list(settings)
    for r in readings:
        reader = Reader(observer.circuit, r.probe)
        slope = reader.slope(x, values)[:, 0]
        moves = slope @ point.by_row
        if r.probe.quantity == "mains amps":
            moves = moves + np.array([reader.direct(x, values, c.row)[0] for c in columns])
        sigmas[: len(columns), number[r.id]] = moves * scale
        if point.valves:
            for v, by in zip(point.valves, slope @ point.by_setting, strict=True):
                sigmas[len(columns) + valves.index(v), number[r.id]] = by * settings[v] / 3**0.5


def _cold(
    observer: Observer,
    block: Block,
    readings: Sequence[PlannedReading],
    columns: Sequence[Column],
    settings: dict[str, float],
    number: dict[str, int],
    sigmas: Array,
) -> None:
    """Power-off ohms, in closed form."""
    from firstglow.solver.cold import cold_sensitivities

    pairs = [(r.probe.red, r.probe.black) for r in readings]
    slopes = cold_sensitivities(observer.amplifier, block.situation, pairs, observer.named(observer.nominal))
    for c, column in enumerate(columns):
        if column.name in slopes:
            for i, r in enumerate(readings):
                sigmas[c, number[r.id]] = slopes[column.name][i, 0] * column.sigma


def _chance(
    observer: Observer,
    block: Block,
    readings: Sequence[PlannedReading],
    columns: Sequence[Column],
    settings: dict[str, float],
    number: dict[str, int],
    sigmas: Array,
) -> None:
    """What is neither a part nor the meter: how warm copper or a cathode is, how far the meter opens a junction."""
    half = 1 / 12**0.5
    values = np.repeat(observer.nominal, 2, axis=1)
    cast = Cast(values, level=np.array([0.5 + half, 0.5 - half]))
    seen = observer.see([Block(block.key, block.situation, tuple(readings))], cast, predict=True)
    for r in readings:
        sigmas[-2, number[r.id]] = (seen.values[r.id][0] - seen.values[r.id][1]) / 2.0


def _gains(
    observer: Observer,
    block: Block,
    readings: Sequence[PlannedReading],
    columns: Sequence[Column],
    settings: dict[str, float],
    number: dict[str, int],
    sigmas: Array,
) -> None:
    """What the laws may get wrong of a gain. All types are moved together and their shares taken as equal and apart."""
    kinds = len({v.type for v in observer.amplifier.of_kind("valve")})
    cast = Cast(np.repeat(observer.nominal, 2, axis=1), level=ndtr(np.array([1.0, -1.0])))
    seen = observer.see([Block(block.key, block.situation, tuple(readings))], cast, predict=True)
    for r in readings:
        away = (seen.values[r.id][0] - seen.values[r.id][1]) / 2.0
        sigmas[-1, number[r.id]] = away / kinds**0.5


def _differences(
    observer: Observer,
    block: Block,
    readings: Sequence[PlannedReading],
    columns: Sequence[Column],
    settings: dict[str, float],
    number: dict[str, int],
    sigmas: Array,
) -> None:
    """By moving everything half a standard deviation up and down, the standing solution after its slopes: what it bends
    is the same on both sides."""
    here = {v: w for v, w in settings.items() if v in block.situation.idle}
    count = len(columns) + len(here)
    values = np.repeat(observer.nominal, 2 * count, axis=1)
    for c, column in enumerate(columns):
        step = STEP * column.sigma
        values[column.row, 2 * c] += step
        values[column.row, 2 * c + 1] -= step
    setting: dict[str, Array] = {}
    for k, (valve, width) in enumerate(here.items(), len(columns)):
        away = np.zeros(2 * count)
        away[2 * k], away[2 * k + 1] = STEP * width / 3**0.5, -STEP * width / 3**0.5
        setting[valve] = away
    cast = Cast(values, setting, level=np.full(2 * count, 0.5))
    seen = observer.see([Block(block.key, block.situation, tuple(readings))], cast, predict=True)
    order = [*range(len(columns)), *(len(columns) + list(settings).index(v) for v in here)]
    for r in readings:
        y = seen.values[r.id]
        sigmas[order, number[r.id]] = (y[0::2] - y[1::2]) / (2 * STEP)


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
    names = (*found.names, *(f"meter {kind} {full:g}" for kind, full in ranges), "meter counts", "meter rounding")
    parts = (*found.parts, *(("the meter",) * (len(ranges) + 2)))
    uniform = np.concatenate([found.uniform, np.ones(len(ranges) + 2, dtype=bool)])
    return Moved(names, parts, uniform, np.vstack([found.sigmas * after, gains, offsets]))


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
