"""A bias supply designed or designed again: what there was, what it is now, and a few networks that do better.

Every figure shown comes from a full solution of the amplifier (``bias_trial``); the search before it (``bias_search``) only
proposes. Up before HT: slow time (``solver.slow``), all proposals together, on the highest mains.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from firstglow.amplifier.model import Amplifier, AmplifierError
from firstglow.audit.bias_checks import HALF_LOAD, checks, ratings
from firstglow.audit.bias_found import Design, Found, Idle
from firstglow.audit.bias_leaks import lower_leaks
from firstglow.audit.bias_parts import NoBiasError, network
from firstglow.audit.bias_proposal import Proposal
from firstglow.audit.bias_ranked import ranked, recommended_first, why_recommended
from firstglow.audit.bias_ready import Ready, ready
from firstglow.audit.bias_search import Curve, Searched, curve, search, shortlist, unit
from firstglow.audit.bias_trial import MIDDLE, Trial
from firstglow.audit.idle_band import IdleBand, idle_band
from firstglow.markings.made import made_watts
from firstglow.markings.series import steps
from firstglow.readings.side_by_side import side_by_side

HUM_SHARE = 1e-4
"""Hum that the bias supply may leave at a grid, over its bias: 80 dB below full drive, a choice of ours."""
WIDE = 2.0
"""How much further is searched where nothing near the present values will do."""
BY_CURRENT = frozenset({"KT88", "7027A"})
"""Types whose published fixed-bias rows lie far off any law at fixed grid volts, and within 5 to 14 % of the bias."""
FARADS = tuple(float(s.scaleb(k)) for k in (-6, -5, -4) for s in steps("E6"))


@dataclass(frozen=True, slots=True)
class Sense:
    """Volts across a sense resistor at idle: of its ohms as drawn, and as measured [V]."""

    part: str
    nominal: float
    measured: float


@dataclass(frozen=True, slots=True)
class Bias:
    """All of it. drawn: the amplifier as it was; was: its network there, by rectifier state ("silicon", "selenium, new",
    "selenium, aged"), empty where the drawing has none; now: as changed. refused: why there are no alternatives, in words, or None."""

    drawn: Amplifier
    amplifier: Amplifier
    trial: Trial
    was: Mapping[str, Proposal]
    now: Proposal
    alternatives: tuple[Proposal, ...]
    hum_limit: float
    refused: str | None

    def sense(self, valve: str) -> Sense | None:
        """What its sense resistor shows at the idle wanted, or None without one (or with a shared one)."""
        o = next(x for x in self.trial.outputs if x.valve == valve)
        if o.sense is None or o.shares_cathode:
            return None
        amps = self.trial.targets[valve]
        drawn, real = (a.parts[o.sense].value("ohms") for a in (self.drawn, self.amplifier))
        return Sense(o.sense, amps * drawn, amps * real)

    def band(self, idle: Idle) -> IdleBand:
        """Where a valve's idle lies in what its class is run at."""
        output = next(x for x in self.trial.outputs if x.valve == idle.valve)
        return idle_band(output, idle.plate_watts, idle.limit)

    @property
    def recommended(self) -> str | None:
        """Why the first alternative is the one to build; None without any."""
        return why_recommended(self.alternatives[0], self.alternatives[1:]) if self.alternatives else None

    @property
    def doubtful(self) -> tuple[str, ...]:
        """Output valves whose published idle rows are further off at fixed grid volts than a tenth of the bias explains."""
        return tuple(v for v in self.trial.targets if str(self.amplifier.parts[v].type) in BY_CURRENT)


def design(
    drawn: Amplifier,
    amplifier: Amplifier,
    series: str = "E24",
    hum_limit: float | None = None,
    mains: float | None = None,
) -> Bias:
    """Design the bias supply of ``amplifier``; ``drawn`` is shown beside it. series: E12, E24 or E96. hum_limit: V rms at a
    grid (default: a ten-thousandth of the bias). mains: nominal today (default: the file's). Raises NoBiasError, SolveError."""
    trial = Trial(network(amplifier), mains)
    now = trial.run([{}])[0]
    limit = hum_limit or HUM_SHARE * max(abs(float(n[MIDDLE, MIDDLE])) for n in trial.needs.values())
    if drawn.digest == amplifier.digest:
        chosen = _choose(trial, now, limit, series)
        was: dict[str, Proposal] | None = None
    else:
        pieces: list[Callable[[], Any]] = [
            partial(_as_it_was, drawn, limit, mains), partial(_choose, trial, now, limit, series)
        ]  # fmt: skip
        was, chosen = side_by_side(pieces)
    current = _standing(trial, now, chosen.now, limit)
    shown = {str(trial.net.supply.kind): current} if was is None else was
    return Bias(drawn, amplifier, trial, shown, current, chosen.good, limit, chosen.refused)


class Chosen(NamedTuple):
    """What the search came to. now: the cold start of the network as it stands, None where none was followed."""

    good: tuple[Proposal, ...]
    refused: str | None
    now: Ready | None


def _choose(trial: Trial, now: Found, limit: float, series: str) -> Chosen:
    """Search, solve, start up, and keep what meets every demand."""
    rails, leaks = curve(trial, now), lower_leaks(trial, now)
    searched = search(trial, rails, series)
    if searched.why:  # far from the values that are there now
        searched = search(trial, rails, series, WIDE)
    refused = _impossible(trial, searched)
    if refused:
        return Chosen((), refused, None)
    proposals = _tried(trial, searched, limit, leaks)
    if not any(p.good for p in proposals):  # arithmetic and amplifier differ: once more, by what was solved
        again = search(trial, rails.scaled(_off(trial, rails, [p.found for p in proposals])), series)
        proposals = _tried(trial, again, limit, leaks) or proposals
    few = ranked([p for p in proposals if p.good])
    if not few:
        return Chosen((), _failing(trial, proposals, limit), None)
    at = ready(trial, [now, *(p.found for p in few)])
    started = [_with(trial, p, r, limit) for p, r in zip(few, at[1:], strict=True)]
    good = recommended_first([p for p in started if p.good])
    return Chosen(good, None if good else _failing(trial, started, limit), at[0])


def _with(trial: Trial, p: Proposal, at: Ready, limit: float) -> Proposal:
    return replace(p, ready=at, checks=checks(trial, p.found, at, limit, ratings(trial, p.found)))


def _tried(trial: Trial, searched: Searched, limit: float, leaks: Design) -> list[Proposal]:
    """The shortlist on the whole amplifier, with the grid leaks that the valves' sheets allow."""
    designs = [{**design, **leaks} for design in shortlist(searched)]
    found = _quieter(trial, trial.run(designs), limit) if designs else []
    return [_proposal(trial, f, limit) for f in found if f.settled]


def _off(trial: Trial, rails: Curve, found: Sequence[Found]) -> float:
    """Solved over foretold volts at the most negative end, on the mains where least is to spare."""
    ratios = []
    for f in found:
        at = unit(trial.net, {k: np.array([v]) for k, v in f.design.items()}, 0.0)
        for v, (mains, _, most) in f.safe.items():
            m = trial.mains.index(mains)
            ratios.append(abs(most) / float(rails.at(at.siemens)[m, 0] * at.wiper[trial.pot_of[v].name][0]))
    return min(ratios, default=1.0)


# -- as it was ---------------------------------------------------------------------------------------------------------
def _as_it_was(drawn: Amplifier, limit: float, mains: float | None) -> dict[str, Proposal]:
    """The drawing's own network; a selenium rectifier new and aged. Empty where the drawing has none."""
    try:
        own = Trial(network(drawn), mains)
    except (NoBiasError, AmplifierError):
        return {}
    diodes = [d for d in own.net.supply.rectifiers if drawn.parts[d].type == "selenium"]
    designs: dict[str, Design] = {"silicon": {}}
    if diodes:
        designs = {f"selenium, {w}": {f"{d} age": at for d in diodes} for w, at in (("new", 0.0), ("aged", 1.0))}
    elif own.net.supply.kind == "valve":
        designs = {"valve": {}}
    found = own.run(list(designs.values()))
    return {k: _standing(own, f, None, limit) for k, f in zip(designs, found, strict=True)}


# -- what cannot be ------------------------------------------------------------------------------------------------------
def _impossible(trial: Trial, searched: Searched) -> str | None:
    """A reasoned refusal, or None."""
    a = trial.amplifier
    if searched.why == "winding":
        m = int(np.argmin(searched.reached / searched.wanted))
        s = trial.net.supply
        return (
            f"{s.transformer} {s.windings[0]} is too low: with the best resistors the grids get -{searched.reached[m]:.1f} V "
            f"on {trial.mains[m]:.0f} V mains; to hold the strongest valve on unloaded HT they need -{searched.wanted[m]:.1f} V. "
            "A higher tap, or two diodes and two capacitors as a doubler, is what helps."
        )
    if searched.why == "pot":
        pot = a.parts[searched.pot]
        watts = pot.values["watts"].value
        return (
            f"{searched.pot} is too small: every network that reaches all idle currents puts at least "
            f"{1e3 * searched.pot_watts:.0f} mW on its track, rated {1e3 * watts:.0f} mW (half of that is good practice); "
            f"a preset of the same ohms and {made_watts(searched.pot_watts / HALF_LOAD) or 2 * searched.pot_watts:g} W or "
            "more is what helps."
        )
    if searched.why == "span":
        return (
            f"no pair of values reaches all idle currents with room at both ends: try --series E96, or a preset of other "
            f"ohms than {', '.join(p.name for p in trial.net.pots)}"
        )
    return None


def _against_hum(trial: Trial, found: Found, limit: float) -> str:
    """What would bring its hum down to limit [V rms], no capacitor that is made being enough."""
    name, hum = trial.net.filter, max(found.hum.values())
    if name is None:
        return "draw a filter first: a resistor and a 47 uF capacitor between reservoir and presets"
    farads = found.design.get(f"{name} farads", trial.amplifier.parts[name].value("farads")) * hum / limit
    return (
        f"{name} alone would have to be {float(f'{1e6 * farads:.2g}'):,.0f} µF: draw a second resistor and capacitor behind it, or "
        f"allow what this one leaves, --hum {math.ceil(1.02e5 * hum) / 100:g}m"
    )


def _failing(trial: Trial, proposals: Sequence[Proposal], limit: float) -> str:
    """What the nearest network fails, and what would help."""
    if not proposals:
        return "none of the networks found would settle in the whole amplifier"
    nearest = min(proposals, key=lambda p: sum(not c.holds and not c.as_drawn for c in p.checks))
    why = "; ".join(f"{c.what}: {c.text}" for c in nearest.checks if not c.holds and not c.as_drawn)
    if any(c.what == "hum" and not c.holds for c in nearest.checks):
        why += f"; {_against_hum(trial, nearest.found, limit)}"
    failing = {c.what for c in nearest.checks if not c.holds and not c.as_drawn}
    stores = ", ".join(n for n in (*trial.net.supply.reservoirs, trial.net.filter) if n)
    if "up before the current" in failing:
        why += f"; less farads in {stores} is what helps, or HT through a rectifier that warms up more slowly"
    if "capacitor" in failing:
        why += f"; a lower tap of the winding is what helps, or two alike in series with equal resistors across them for {stores}"
    if "winding" in failing:
        why += "; presets and feet of more ohms are what helps, or a winding rated for it"
    if not nearest.fail_safe:
        why += (
            "; no resistor across its wiper makes this kind of network fail-safe: give every output valve a preset of its own, "
            "rail and foot at its two ends, its wiper on the grid leak alone"
        )
    return why


# -- the filter ----------------------------------------------------------------------------------------------------------
def _quieter(trial: Trial, found: Sequence[Found], limit: float) -> list[Found]:
    """The same, those that hum too much with the next standard filter capacitor that is enough."""
    name = trial.net.filter
    again: dict[int, Design] = {}
    for k, f in enumerate(found):
        hum = max(f.hum.values())
        if hum > limit and name is not None:
            wanted = trial.amplifier.parts[name].value("farads") * 1.1 * hum / limit
            larger = next((c for c in FARADS if c >= wanted), None)
            if larger is not None:
                again[k] = {**f.design, f"{name} farads": larger}
    better = dict(zip(again, trial.run(list(again.values())), strict=True)) if again else {}
    return [better.get(k, f) for k, f in enumerate(found)]


# -- proposals -------------------------------------------------------------------------------------------------------------
def _proposal(trial: Trial, f: Found, limit: float) -> Proposal:
    """A network that would be fitted, with the ratings that its parts then need."""
    parts = {k: v for k, v in f.design.items() if _differs(trial, k, v)}
    fitted = ratings(trial, f)
    return Proposal(f, None, {**parts, **fitted}, checks(trial, f, None, limit, fitted))


def _standing(trial: Trial, f: Found, at: Ready | None, limit: float) -> Proposal:
    """A network as it stands: nothing is changed."""
    net, parts = trial.net, trial.amplifier.parts
    names = [*net.series, *(x.name for x in net.pots), *(x.foot for x in net.pots), net.filter, *net.supply.reservoirs]
    present = {
        n: parts[n].value("farads" if parts[n].kind == "capacitor" else "ohms")
        for n in names if n is not None and n not in net.added
    }  # fmt: skip
    return Proposal(f, at, {}, checks(trial, f, at, limit, {}), (), present)


def _differs(trial: Trial, name: str, value: float) -> bool:
    part, _, attribute = name.rpartition(" ")
    return abs(value / trial.amplifier.parts[part].values[attribute].value - 1.0) > 1e-9
