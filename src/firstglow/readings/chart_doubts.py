"""Where chart and drawing disagree: which points, by how much, and which one thing would explain most of it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.aside import Chart
from firstglow.amplifier.model import Amplifier
from firstglow.readings.charts import Compared, chart_meter, chart_situation, compare
from firstglow.readings.meters import Meter, loaded
from firstglow.readings.observe import Observer
from firstglow.readings.probe import Probe
from firstglow.solver.standing import SolveError, Standing

Array = NDArray[np.float64]

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)  # IEC 60063
TRIED = 8  # parts whose every value is tried: those that move the doubtful points most
# An explanation leaves at most this much of the misfit, in squares of the tolerance, and no doubtful point more than
# there are now. One explanation is better than a simpler one if it leaves this much less.
LEFT, BETTER = 0.25, 0.8
METERS: tuple[tuple[str, tuple[float | None, float | None]], ...] = (
    ("1 kΩ/V", (1e3, None)),
    ("20 kΩ/V", (20e3, None)),
    ("10 MΩ", (None, 10e6)),
)
MAINS = (0.80, 0.85, 0.90, 0.95, 1.05, 1.10, 1.15, 1.20)
WINDINGS = (0.80, 0.85, 0.90, 0.95, 1.05, 1.10, 1.15, 1.20)
SHOWN = 6  # points named one by one


@dataclass(frozen=True, slots=True)
class Explained:
    """One thing that would explain it. left: misfit that stays, over the misfit as drawn. doubtful: points that stay."""

    text: str
    left: float
    doubtful: int


def findings(amplifier: Amplifier, drawn: Amplifier | None = None) -> tuple[str, ...]:
    """One line for each chart that the drawing disagrees with, and what would explain it.

    drawn: the same amplifier without its layers, None where there are none or they are not at hand.
    """
    observer = Observer(amplifier)
    out = []
    for chart in amplifier.charts:
        try:
            rows = compare(amplifier, chart, observer)
        except SolveError as error:
            out.append(f"Chart {chart.name}: the amplifier would not settle as it was taken, around {error.joint}.")
            continue
        head = disagreement(chart, rows)
        if head:
            out.append(_explained(head, explanation(amplifier, chart, rows, drawn)))
    return tuple(out)


def disagreement(chart: Chart, rows: Sequence[Compared]) -> str:
    """Which points, and by how much; "" where there are none."""
    doubtful = _once([r for r in rows if not r.agrees])
    if not doubtful:
        return ""
    points = "; ".join(doubtful[:SHOWN])
    more = f"; and {len(doubtful) - SHOWN} more" if len(doubtful) > SHOWN else ""
    drawing = f", drawing {chart.drawing}" if chart.drawing else ""
    return (
        f"Chart {chart.name}{drawing}, at {chart.mains_volts:g} V with {chart.meter}, and the drawing disagree at "
        f"{len(doubtful)} of {len(_once(rows))} points: {points}{more}."
    )


def _once(rows: Sequence[Compared]) -> list[str]:
    """One text a point: a figure that stands for both channels is told once where both are off alike."""
    texts: dict[tuple[str, float, str], str] = {}
    for row in rows:
        side = "" if row.agrees else row.text.rsplit(" ", 1)[-1]
        key = (row.point.what, row.point.volts, side)
        same = key in texts
        texts[key] = row.text.removeprefix(f"{row.point.channel} ") if same and row.point.channel else row.text
    return list(texts.values())


def _explained(head: str, why: Explained | None) -> str:
    if why is None:
        return (
            f"{head} No other meter, mains or single part explains it: is the chart of this revision of the drawing? "
            "Settle that before any power."
        )
    return (
        f"{head} {why.text} would explain {'it' if not why.doubtful else 'most of it'}: settle that before any power."
    )


# -- what would explain it -----------------------------------------------------------------------------------------
def explanation(
    amplifier: Amplifier, chart: Chart, rows: Sequence[Compared], drawn: Amplifier | None = None
) -> Explained | None:
    """The simplest of the things that leave least: the meter, the layers, the mains, a winding, a resistor."""
    weighed = _Weighed(amplifier, chart, rows)
    found: Explained | None = None
    for one in _tried(weighed, drawn):
        good = one.left <= LEFT and one.doubtful < len([r for r in rows if not r.agrees])
        if good and (found is None or one.left + 0.01 < BETTER * found.left):
            found = one
    return found


def _tried(weighed: "_Weighed", drawn: Amplifier | None) -> Iterator[Explained]:
    for name, kind in METERS:
        if name != weighed.chart.meter:
            yield weighed.explained(
                f"A meter of {name}", weighed.shown(weighed.volts, chart_meter(weighed.chart, kind))
            )
    if drawn is not None:
        shown = [r.expected for r in compare(drawn, weighed.chart)]
        yield weighed.explained("The drawing as drawn, without its layers,", np.array(shown))
    yield from weighed.mains()
    yield from weighed.parts()


class _Weighed:
    """The chart's points solved for many amplifiers that differ in one thing each."""

    def __init__(self, amplifier: Amplifier, chart: Chart, rows: Sequence[Compared]) -> None:
        self.amplifier, self.chart, self.rows = amplifier, chart, rows
        self.circuit = Observer(amplifier).circuit
        self.meter = chart_meter(chart)
        self.situation = chart_situation(amplifier, chart)
        self.nominal = np.array([[p.nominal] for p in self.circuit.parameters])
        self.standing, self.volts = self._solved(self._laid(self.nominal))
        self.source = np.array([self._source(r) for r in rows])
        self.before = self._misfit(np.array([r.expected for r in rows]))

    def _source(self, row: Compared) -> float:
        ohms = self.standing.source_ohms(row.point.red, row.point.black) if row.point.kind == "dc volts" else 0.0
        return float(np.ravel(ohms)[0])

    def _laid(self, values: Array) -> Array:
        """Values (parameter, sample) as the chart was taken."""
        return np.asarray(self.circuit.apply(values, self.situation))

    def _solved(self, laid: Array) -> tuple[Standing, Array]:
        """(standing, volts (point, sample)) of amplifiers laid out; what does not settle is nan."""
        if self.situation.idle:
            targets = {v: np.full(laid.shape[1], amps) for v, amps in self.situation.idle.items()}
            standing = self.circuit.solve_idle(laid, targets, strict=False).standing
        else:
            standing = self.circuit.solve(laid, strict=False)
        rows = [np.ravel(standing.row(Probe(r.point.kind, r.point.red, r.point.black))) for r in self.rows]
        volts = np.array([np.broadcast_to(row, laid.shape[1]) for row in rows])
        return standing, np.where(standing.settled, volts, np.nan)

    def shown(self, volts: Array, meter: Meter) -> Array:
        """What the meter leaves of volts (point, sample): (point,) of the first sample."""
        column = volts[:, 0]
        on = [meter.range_for(r.point.kind, v) for r, v in zip(self.rows, np.nan_to_num(column), strict=True)]
        return np.array([loaded(v, z, o.input_ohms) for v, z, o in zip(column, self.source, on, strict=True)])

    def _misfit(self, expected: Array) -> float:
        """Sum over the points of the square of what is off in tolerances, none counting for more than nine."""
        off = [
            (r.point.volts - e) / (r.point.tolerance * abs(e)) if e * r.point.volts > 0 else 3.0
            for r, e in zip(self.rows, expected, strict=True)
        ]
        # rounding of a printed figure is no misfit; one point alone does not carry the whole
        return float(np.sum(np.minimum(np.square(off), 9.0))) if np.all(np.isfinite(off)) else float("inf")

    def explained(self, text: str, expected: Array) -> Explained:
        """How good the things named in the text are, where the drawing gives ``expected`` (point,)."""
        doubtful = 0
        for row, e in zip(self.rows, expected, strict=True):
            ratio = e / row.expected if row.expected else 1.0
            ends = sorted(
                (row.low * ratio, row.high * ratio, e * (1 - row.point.tolerance), e * (1 + row.point.tolerance))
            )
            doubtful += not ends[0] <= row.point.volts <= ends[-1]
        return Explained(text, self._misfit(expected) / self.before if self.before else 1.0, doubtful)

    def mains(self) -> Iterator[Explained]:
        """Other mains."""
        every = [self.situation.but(mains_volts=share * self.situation.mains_volts) for share in MAINS]
        laid = np.concatenate([self.circuit.apply(self.nominal, at) for at in every], axis=1)
        _, volts = self._solved(laid)
        for k, share in enumerate(MAINS):
            text = f"About {share * self.chart.mains_volts:.0f} V of mains instead of {self.chart.mains_volts:g} V"
            yield self.explained(text, self.shown(volts[:, k : k + 1], self.meter))

    def parts(self) -> Iterator[Explained]:
        """Every winding pair by its volts, every resistor (its twin with it) by its preferred values."""
        trials: list[tuple[str, list[str], float]] = []
        for names in self._windings():
            for share in WINDINGS:
                word = " and ".join(n.removesuffix(" turns") for n in names)
                trials.append((f"{word} of {100 * share:.0f} % of the volts drawn", names, share))
        for names in self._resistors():
            own = self._value(names[0])
            for ohms in _preferred(own):
                word = names[0].removesuffix(" ohms")
                if len(names) > 1:
                    word = f"{self.amplifier.parts[word].aliases[0] if self.amplifier.parts[word].aliases else word}"
                    word = f"{word.removeprefix(f'{self.amplifier.channels[0]} ')} (in each channel)"
                trials.append((f"{word} of {_ohms(ohms)} instead of {_ohms(own)}", names, ohms / own))
        if not trials:
            return
        values = np.repeat(self.nominal, len(trials), axis=1)
        for k, (_, names, share) in enumerate(trials):
            for name in names:
                values[self.circuit.column[name], k] *= share
        _, volts = self._solved(self._laid(values))
        for k, (text, _, _) in enumerate(trials):
            yield self.explained(text, self.shown(volts[:, k : k + 1], self.meter))

    def _value(self, name: str) -> float:
        return float(self.nominal[self.circuit.column[name], 0])

    def _windings(self) -> list[list[str]]:
        """Turns of each secondary of a mains transformer, its two sides together."""
        found: dict[str, list[str]] = {}
        for part in self.amplifier.of_kind("transformer"):
            for winding in part.windings:
                name = f"{part.name} {winding.name} turns"
                if winding.role == "secondary" and name in self.circuit.column:
                    key = f"{part.name} {winding.name.removesuffix(' a').removesuffix(' b')}"
                    found.setdefault(key, []).append(name)
        return list(found.values())

    def _resistors(self) -> list[list[str]]:
        """Those that move the doubtful points most, each with its twin."""
        doubtful = [k for k, r in enumerate(self.rows) if not r.agrees]
        trials: dict[frozenset[str], list[str]] = {}
        for part in self.amplifier.of_kind("resistor"):
            names = [f"{n} ohms" for n in (part.name, part.twin) if n and f"{n} ohms" in self.circuit.column]
            if names and self._value(names[0]) > 0.0:
                trials.setdefault(frozenset(names), names)
        if not trials:
            return []
        values = np.repeat(self.nominal, len(trials), axis=1)
        for k, names in enumerate(trials.values()):
            for name in names:
                values[self.circuit.column[name], k] *= 1.5
        _, volts = self._solved(self._laid(values))
        moved = np.nan_to_num(np.abs(volts / self.volts - 1.0))[doubtful].sum(axis=0)
        order = sorted(range(len(trials)), key=lambda k: -moved[k])
        every = list(trials.values())
        return [every[k] for k in order[:TRIED]]


def _preferred(ohms: float) -> list[float]:
    """E12 values from a tenth to ten times, without its own."""
    decade = 10.0 ** np.floor(np.log10(ohms))
    every = [m * decade * s for s in (0.1, 1.0, 10.0) for m in E12]
    return [float(f"{v:.3g}") for v in every if 0.1 <= v / ohms <= 10.0 and abs(v / ohms - 1.0) > 0.02]


def _ohms(ohms: float) -> str:
    scale, sign = (1e6, "MΩ") if ohms >= 1e6 else (1e3, "kΩ") if ohms >= 1e3 else (1.0, "Ω")
    return f"{ohms / scale:.3g} {sign}"


def by_chart(amplifier: Amplifier, observer: Observer | None = None) -> Mapping[str, tuple[Compared, ...]]:
    """Title -> its points against the drawing; a chart as which the amplifier would not settle is left out."""
    out: dict[str, tuple[Compared, ...]] = {}
    for chart in amplifier.charts:
        try:
            out[chart.title] = compare(amplifier, chart, observer)
        except SolveError:
            continue
    return out
