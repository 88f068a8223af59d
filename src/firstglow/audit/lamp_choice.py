"""Which limiter lamp: how bright it looks at each rung with the amplifier good, half-short and short, and what the readings
become while it is still in the line. Lamp and amplifier are solved together; words and filament are the ladder's own
(``devices.lamp``).

Half-short is a fault that takes as many watts again as the whole amplifier does when it runs (shorted turns, a reservoir that
leaks); short is the HT winding shorted. Brightness is what stands once all is warm: for a second or two every lamp flashes,
because cold heaters and empty capacitors draw.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firstglow.amplifier.situation import Situation
from firstglow.audit.figures import Figures, figures, mains_transformer
from firstglow.audit.mains_now import Today
from firstglow.audit.ways import Array
from firstglow.devices.lamp import Glow, glow
from firstglow.solver.standing import SolveError, Standing

LAMPS = (15.0, 25.0, 40.0, 60.0, 75.0, 100.0, 150.0, 200.0, 300.0)
"""Filament lamps as made for the mains [W] (common practice)."""
AWAKE = 0.6
"""Primary volts over the mains from which the amplifier works well enough to be judged by its lamp: below it hardly a cathode
emits (common practice)."""
TRIED, FEW = (0.45, 6.0), (0.9, 2.0)
"""Sizes tried, over the watts that the amplifier draws; behind a choke input, which takes long to solve, the likely ones."""
State = Literal["good", "half-short", "short"]
STATES: tuple[State, ...] = ("good", "half-short", "short")


@dataclass(frozen=True, slots=True)
class Rung:
    """One way of standing that the ladder goes through, as the lamp sees it."""

    id: str
    title: str
    situation: Situation


@dataclass(frozen=True, slots=True)
class Seen:
    """One rung with one lamp in. words, shares: by state, brightness and watts over the lamp's; None: would not settle.
    primary, heater_ratio, ht: what the good amplifier's readings become with the lamp in; bare_*: without it. heaters: rated
    volts -> (with the lamp, without), of the hottest on that line, those in their sockets; bias: joint -> likewise."""

    rung: str
    title: str
    words: tuple[Glow | None, ...]
    shares: tuple[float | None, ...]
    primary: float
    heater_ratio: float | None
    ht: float | None
    bare_primary: float
    bare_heater_ratio: float | None
    bare_ht: float | None
    heaters: Mapping[float, tuple[float, float]]
    bias: Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Lamp:
    """One size. seen: every rung. awake: primary volts over the mains with everything in. tells: rungs on which good, half-short
    and short all look different; apart: rungs on which good and short do."""

    watts: float
    seen: tuple[Seen, ...]
    awake: float
    tells: int
    apart: int

    @property
    def verdict(self) -> str:
        """Too small, too large, or what it is good for."""
        running = self.seen[-1]
        if self.awake < AWAKE or running.words[0] in ("half", "full"):
            return (
                f"too small: the primary gets {100 * self.awake:.0f} % of the mains: it never wakes, and looks faulty"
            )
        if not self.tells:
            return "too large: no fault but a dead short lights it"
        return f"tells good, half-short and short apart on {self.tells} of {len(self.seen)} rungs"


@dataclass(frozen=True, slots=True)
class LampChoice:
    """watts, volt_amps: of the good amplifier running. lamps: every size, the smallest first. best: index of the one proposed.
    ladder: what the ladder's own first rungs take, presets at their most negative [W]; None without a ladder."""

    watts: float
    volt_amps: float
    lamps: tuple[Lamp, ...]
    best: int
    ladder: float | None = None

    @property
    def why_not(self) -> str:
        """Why the ladder's own is not the one proposed."""
        own = next((lamp for lamp in self.lamps if lamp.watts == self.ladder), None)
        return "no lamp of this list" if own is None else own.verdict

    @property
    def proposed(self) -> Lamp:
        """The lamp to use."""
        return self.lamps[self.best]


def lamp_choice(today: Today, rungs: Sequence[Rung]) -> LampChoice:
    """rungs: the ladder's, under power; those that stand alike count once, under the first. Everything in comes last."""
    ladder = next((r.situation.lamp_watts for r in rungs if r.situation.lamp_watts), None)
    distinct = _distinct(today, rungs)
    watts, draws = today.at_now.mains_watts, today.at_now.mains_amps * today.now
    low, high = FEW if any(s.input == "choke" for s in today.roles.supplies) else TRIED
    sizes = [w for w in LAMPS if low * watts <= w <= high * watts] or [LAMPS[-1]]
    columns: list[Array] = []
    for r in distinct:
        columns.append(_laid(today, r.situation, None, "good"))
        columns += [_laid(today, r.situation, w, state) for w in sizes for state in STATES]
    standing = _solved(today, np.stack(columns, axis=1), len(sizes))
    each = 1 + len(sizes) * len(STATES)
    lamps = []
    for n, w in enumerate(sizes):
        if not all(standing.settled[[k * each, k * each + 1 + n * len(STATES)]].all() for k in range(len(distinct))):
            continue  # the good amplifier itself is not known with it in
        seen = tuple(
            _seen(today, r, standing, k * each, k * each + 1 + n * len(STATES)) for k, r in enumerate(distinct)
        )
        tells = sum(len(set(s.words)) == len(STATES) and None not in s.words for s in seen)
        apart = sum(s.words[0] != s.words[2] for s in seen)
        lamps.append(Lamp(w, seen, seen[-1].primary / today.now, tells, apart))
    if not lamps:
        raise SolveError("with a lamp in the line it would not settle; `firstglow check` first", "lamp")
    return LampChoice(watts, draws, tuple(lamps), _best(lamps, draws, ladder), ladder)


def _solved(today: Today, laid: Array, sizes: int) -> Standing:
    """Every column; a good amplifier's with all care, a short's only as far as it comes out soon: its brightness is not worth minutes."""
    found = today.circuit.solve(laid, strict=False, thorough=False)
    each = 1 + sizes * len(STATES)
    good = [k for k in range(laid.shape[1]) if k % each == 0 or (k % each - 1) % len(STATES) == 0]
    left = [k for k in good if not found.settled[k]]
    if left:
        again = today.circuit.solve(laid[:, left], strict=False)
        x, settled, steps = np.array(found.x), np.array(found.settled), np.array(found.steps)
        x[:, left], settled[left], steps[left] = again.x, again.settled, again.steps
        found = Standing(x, laid, settled, steps, today.circuit)
    return found


def _best(lamps: Sequence[Lamp], draws: float, ladder: float | None) -> int:
    """The ladder's, whose readings are worked out with it, where the amplifier wakes behind it and a fault shows on some rung: one
    lamp for every page. Else, of those no smaller than the draw (the ladder's own rule) and behind which it wakes, the one that
    tells most apart; of those alike the smallest, which limits most. Where none is large enough the largest."""
    own = next((n for n, lamp in enumerate(lamps) if lamp.watts == ladder and lamp.verdict.startswith("tells")), None)
    if own is not None:
        return own
    fit = [n for n, lamp in enumerate(lamps) if lamp.watts >= draws and lamp.awake >= AWAKE]
    return max(fit, key=lambda n: (lamps[n].tells, -n)) if fit else len(lamps) - 1


def _distinct(today: Today, rungs: Sequence[Rung]) -> list[Rung]:
    found: dict[tuple[frozenset[str], frozenset[str], frozenset[str]], Rung] = {}
    for r in rungs:
        s = r.situation
        found.setdefault((s.out, s.lifted, s.switches_open), r)
    everything = found.pop(
        (frozenset(), frozenset(), frozenset()), Rung("9", "running, everything in", Situation(today.now))
    )
    return [*found.values(), everything]


def _laid(today: Today, at: Situation, watts: float | None, state: State) -> Array:
    """(parameter,) of one rung at full mains with a lamp in the line."""
    stands = at.but(
        mains_volts=today.now, lamp_watts=watts, idle={}, loads={}, stimulus_volts=0.0, pots={**today.pots, **at.pots}
    )
    laid = today.circuit.vector(stands)
    if state != "good":
        name, watts_short = _short(today)
        row = today.circuit.column[f"{name} core_loss_watts"]
        laid[row] += today.at_now.mains_watts if state == "half-short" else watts_short
    return laid


def _short(today: Today) -> tuple[str, float]:
    """The transformer and the watts that its core would lose at nominal volts with the HT winding (else the one with the most
    volts) shorted at its own ends: only that winding's copper is left, as it is seen from the core."""
    transformer = mains_transformer(today.amplifier)
    assert transformer is not None
    fed = {
        w.winding
        for s in today.roles.supplies
        if s.use == "ht"
        for w in s.legs[0].windings
        if w.part == transformer.name
    }
    others = [w for w in transformer.windings if w.role != "primary"]
    winding = max([w for w in others if w.name in fed] or others, key=lambda w: w.turns.value)
    return transformer.name, winding.turns.value**2 / winding.ohms.value


def _seen(today: Today, rung: Rung, standing: Standing, bare: int, first: int) -> Seen:
    at = [
        figures(today.circuit.amplifier, today.roles, standing, k) for k in (bare, *range(first, first + len(STATES)))
    ]
    shares = tuple(f.lamp_share if f.settled else None for f in at[1:])
    ht = next(iter(today.at_now.ht), None)
    feeds = ht is not None and abs(at[0].ht.get(ht, 0.0)) > 1.0
    return Seen(
        rung.id, rung.title, tuple(None if s is None else glow(s) for s in shares), shares, at[1].primary_volts,
        at[1].heater_ratio if at[1].heaters else None, at[1].ht[ht] if feeds and ht else None, at[0].primary_volts,
        at[0].heater_ratio if at[0].heaters else None, at[0].ht[ht] if feeds and ht else None,
        _heaters(at[1], at[0], rung.situation.out), {j: (at[1].bias[j], v) for j, v in at[0].bias.items()},
    )  # fmt: skip


def _heaters(lit: Figures, bare: Figures, out: frozenset[str]) -> dict[float, tuple[float, float]]:
    """Heater volts by rated ones, of the hottest of the glasses that are in: with the lamp, without."""
    found: dict[float, tuple[float, float]] = {}
    for envelope, (volts, rated) in bare.heaters.items():
        if envelope not in out and volts >= found.get(rated, (0.0, 0.0))[1]:
            found[rated] = (lit.heaters[envelope][0], volts)
    return found
