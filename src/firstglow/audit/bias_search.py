"""Thousands of bias networks by arithmetic: the rectifier's own curve (volts against load, solved once on three mains) and the
resistor network behind it. What is found here is only a proposal: ``bias_trial`` then solves the whole amplifier.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.situation import Situation
from firstglow.audit.bias_checks import HALF_LOAD
from firstglow.audit.bias_found import Design, Found
from firstglow.audit.bias_parts import CHASSIS, BiasPot, Network
from firstglow.audit.bias_trial import MIDDLE, Column, Trial
from firstglow.markings.series import next_up, preferred, steps

Array = NDArray[np.float64]

LOADS = (0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 4.5, 7.0)
"""Currents at which the rectifier's curve is solved, over what the network as drawn draws."""
DECADE = {"E12": 1.0, "E24": 1.0, "E48": 0.6, "E96": 0.45}
"""How far up and down from the present value is searched, in decades."""
GUARDS = (4.0, 10.0)
"""Resistor from wiper to negative end over the track: from four times up the pot's travel stays even (common practice)."""
LOADED = (0.4, 1.0, 4.0)
"""The same where a balance pot hangs on the wiper: its load would pull a weak guard's grid back to chassis."""
BALANCE_GUARD = 4.0
"""Resistors from the bias rail to a balance pot's ends over its track: they carry the load when its wiper opens."""
RESERVE = 0.03
"""Part of the pot's travel that must stay at either end for the worst valve on the worst mains."""
ROOMY = 0.08
"""Room from which on a design is not judged by more of it."""
WEAK_END = 0.5
"""Bias at the weak end over what the weakest valve wants: less is travel nobody needs, on the side that burns valves."""
NEAR_MIDDLE = 0.1


@dataclass(frozen=True, slots=True)
class Curve:
    """The reservoir's volts against its load, by mains: amps (mains, point), rising; volts (mains, point), size.
    loaded: the volts with the output valves at idle over those with them out [1]."""

    amps: Array
    volts: Array
    loaded: float

    def scaled(self, by: float) -> "Curve":
        """All volts and amps times ``by``."""
        return Curve(self.amps * by, self.volts * by, self.loaded)

    def at(self, siemens: Array) -> Array:
        """Size of the reservoir's volts (mains, candidate) behind networks of these conductances (candidate,)."""
        return np.array(
            [np.interp(siemens, i / v, v) for i, v in zip(self.amps, self.volts, strict=True)]
        )  # the load line crosses the curve where amps over volts is the conductance


@dataclass(frozen=True, slots=True)
class Searched:
    """Candidates that arithmetic finds good, (candidate,) each; why there are none; how near the nearest came.

    designs: what is changed. room: least travel left. span: volts from end to end, valves out, nominal mains. turn: travel
    at a published valve's idle. changed: how many parts change. hum: proportional to what passes the filter. reached,
    wanted: most negative that any candidate gives, and the safe bias, low, nominal and high mains. pot_watts: least that
    any candidate which would do puts on the track of ``pot``. why: "" or what is impossible, "winding", "pot" or "span".
    """

    designs: tuple[Design, ...]
    room: Array
    span: Array
    turn: Array
    changed: NDArray[np.int64]
    hum: Array
    reached: Array
    wanted: Array
    pot_watts: float
    pot: str
    why: str


def curve(trial: Trial, drawn: Found) -> Curve:
    """Solve the rectifier's curve: every valve's heater on, output valves out, network cut off where it can be."""
    net, joint = trial.net, trial.net.supply.joint
    off = {f"{net.series[0]} ohms": 1e9} if net.series else {}
    base = unit(net, {k: np.array([v]) for k, v in off.items()}, 0.0)
    still = float(base.siemens[0])
    g = float(unit(net, {}, 0.0).siemens[0])
    columns = [
        Column(0, Situation(m, out=trial.out, pots=trial.placed("most"), loads={joint: 1.0 / (g * share)}))
        for m in trial.mains
        for share in LOADS
    ]
    standing = trial.circuit.solve(trial.laid([off], columns))
    volts = np.abs(standing.dc(joint)).reshape(len(trial.mains), -1)
    amps = volts * (g * np.array(LOADS) + still)
    return Curve(amps, volts, abs(drawn.raw_in / drawn.raw))


@dataclass(frozen=True, slots=True)
class Unit:
    """A network on one volt: siemens that it draws (candidate,); wiper: pot -> share of the reservoir's volts at its wiper,
    across: over its track (candidate,)."""

    siemens: Array
    wiper: Mapping[str, Array]
    across: Mapping[str, Array]


def unit(net: Network, values: Mapping[str, Array], travel: float) -> Unit:
    """The network by Kirchhoff's sums, all candidates together. values: parameter name -> (candidate,). travel: every pot's
    from its negative end, 0 to 1."""
    parts, source = net.amplifier.parts, net.supply.joint
    n = max((len(v) for v in values.values()), default=1)
    names = list(dict.fromkeys(j for b in net.branches for j in (b.a, b.b) if j not in (CHASSIS, source)))
    row = {j: k for k, j in enumerate(names)}
    matrix, right, drawn = np.zeros((n, len(row), len(row))), np.zeros((n, len(row))), np.zeros(n)
    matrix[:, range(len(row)), range(len(row))] = 1e-15
    pots = {p.name: p for p in net.pots}
    ways: list[tuple[str, str, Array]] = []
    for b in net.branches:
        ohms = values.get(f"{b.part} ohms", np.array(parts[b.part].values["ohms"].value))
        if parts[b.part].kind == "pot":
            at = abs(pots[b.part].negative_end - travel) if b.part in pots else parts[b.part].value("position")
            share = at if "end 1" in (b.lead_a, b.lead_b) else 1.0 - at
            ohms = ohms * share + parts[b.part].value("wiper_ohms")
        ways.append((b.a, b.b, np.broadcast_to(1.0 / np.maximum(ohms, 1e-3), (n,))))
    for one, other, siemens in ways:
        for here, there in ((one, other), (other, one)):
            if here in row:
                matrix[:, row[here], row[here]] += siemens
                if there in row:
                    matrix[:, row[here], row[there]] -= siemens
                elif there == source:
                    right[:, row[here]] += siemens
    volts = np.linalg.solve(matrix, right[..., None])[..., 0]
    of = {j: volts[:, k] for j, k in row.items()} | {CHASSIS: np.zeros(n), source: np.ones(n)}
    for one, other, siemens in ways:
        if source in (one, other):
            drawn += siemens * (1.0 - of[other if one == source else one])
    across = {p.name: np.asarray(np.abs(of[p.negative] - of[p.weak]), dtype=float) for p in net.pots}
    return Unit(drawn, {p.name: np.asarray(of[p.wiper], dtype=float) for p in net.pots}, across)


def candidates(net: Network, series: str, wide: float = 1.0) -> dict[str, Array]:
    """Every combination: the largest series resistor, the feet together, the guards together; (candidate,) by parameter."""
    parts = net.amplifier.parts
    top = [(f"{net.series[0]} ohms", parts[net.series[0]].value("ohms"))] if net.series else []
    feet = {p.foot: _foot_ohms(net, p) for p in net.pots}
    first = next(iter(feet.values()))
    ladders: list[Sequence[float]] = [around_values(v, series, wide) for _, v in top] or [[1.0]]
    ladders.append(around_values(first, series, wide))
    guards = LOADED if net.balances else GUARDS
    ladders.append(guards if any(p.guard and not p.drawn_guard for p in net.pots) else (0.0,))
    grid = np.array(list(product(*ladders))).T
    out = {name: grid[0] for name, _ in top}
    for foot, ohms in feet.items():
        scaled = grid[1] * (ohms / first)
        out[f"{foot} ohms"] = scaled if ohms == first else np.array([_kept(v, ohms, series) for v in scaled])
    for p in net.pots:
        if p.guard and not p.drawn_guard:
            each = {k: next_up(k * parts[p.name].value("ohms"), "E12") for k in guards}
            out[f"{p.guard} ohms"] = np.array([each[k] for k in grid[2]])
    for b in net.balances:
        ohms = next_up(BALANCE_GUARD * parts[b.name].value("ohms"), "E12")
        out |= {f"{g} ohms": np.full(grid.shape[1], ohms) for g in b.guards}
    return out


def _foot_ohms(net: Network, pot: BiasPot) -> float:
    """What is varied: the foot's present ohms, or half the track where there is none yet."""
    if pot.foot in net.added:
        return preferred(0.5 * net.amplifier.parts[pot.name].value("ohms"), "E24")
    return net.amplifier.parts[pot.foot].value("ohms")


def _kept(value: float, present: float, series: str) -> float:
    return present if abs(value / present - 1.0) < 1e-9 else preferred(value, series)


def around_values(present: float, series: str, wide: float = 1.0) -> list[float]:
    """Preferred values around the present one, and itself."""
    reach = wide * DECADE[series]
    low, high = present * 10.0**-reach, present * 10.0**reach
    decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    found = {float(s.scaleb(d)) for d in decades for s in steps(series)}
    return sorted({present} | {v for v in found if low <= v <= high})


def search(trial: Trial, rails: Curve, series: str, wide: float = 1.0) -> Searched:
    """All that arithmetic lets pass. wide: how much further from the present values than usual."""
    net = trial.net
    values = candidates(net, series, wide)
    ends = [unit(net, values, t) for t in (0.0, 1.0)]
    raw = [rails.at(e.siemens) for e in ends]  # (mains, candidate), size
    hold, room = np.full(raw[0].shape[1], np.inf), np.full(raw[0].shape[1], np.inf)
    best, wanted, span, turn = np.zeros(3), np.zeros(3), np.zeros(raw[0].shape[1]), np.zeros(raw[0].shape[1])
    weakest = np.full(raw[0].shape[1], np.inf)
    for v in trial.targets:
        pot = trial.pot_of[v].name
        most, least = (r * e.wiper[pot] for r, e in zip(raw, ends, strict=True))
        span = np.maximum(span, most[MIDDLE] - least[MIDDLE])
        for m in range(3):
            safe = abs(trial.safe[v][m])
            hold = np.minimum(hold, most[m] / safe - 1.0)
            if most[m].max() / safe < (best[m] / wanted[m] if wanted[m] else np.inf):
                best[m], wanted[m] = most[m].max(), safe
            width = np.maximum((most[m] - least[m]) * rails.loaded, 1e-9)
            strong, weak = abs(trial.needs[v][m, 2]), abs(trial.needs[v][m, 0])
            room = np.minimum(room, (most[m] * rails.loaded - strong) / width)
            room = np.minimum(room, (weak - least[m] * rails.loaded) / width)
            weakest = np.minimum(weakest, least[m] / weak)
        width = np.maximum((most[MIDDLE] - least[MIDDLE]) * rails.loaded, 1e-9)
        turn = (most[MIDDLE] * rails.loaded - abs(trial.needs[v][MIDDLE, MIDDLE])) / width
    watts: dict[str, Array] = {
        p.name: np.asarray((raw[0][-1] * ends[0].across[p.name]) ** 2 / trial.amplifier.parts[p.name].value("ohms"))
        for p in net.pots
    }
    rated = {p: trial.amplifier.parts[p].values.get("watts") for p in watts}
    cool = np.ones(len(room), dtype=bool)
    for p, w in watts.items():
        limit = rated[p]
        cool &= w <= (HALF_LOAD * limit.value if limit is not None and limit.value > 0 else np.inf)
    holds = hold >= 0.0
    good = holds & (room >= RESERVE) & cool
    if good.any():
        why = ""
    elif not holds.any():
        why = "winding"
    elif (holds & (room >= RESERVE)).any():
        why = "pot"
    else:
        why = "span"
    tame = good & (weakest >= WEAK_END)
    chosen = np.flatnonzero(tame if tame.any() else good)
    able = np.flatnonzero(holds & (room >= RESERVE))
    hot = max(watts, key=lambda p: watts[p].min())
    return Searched(
        tuple({k: float(x[c]) for k, x in values.items()} for c in chosen), room[chosen], span[chosen], turn[chosen],
        _changed(net, values, chosen), _passed(net, values, chosen, ends[0].siemens), best, wanted,
        float(watts[hot][able].min()) if able.size else 0.0, hot, why,
    )  # fmt: skip


def _passed(net: Network, values: Mapping[str, Array], chosen: NDArray[np.int64], siemens: Array) -> Array:
    """Proportional to the ripple behind the filter: load current over series ohms."""
    top = values.get(f"{net.series[0]} ohms") if net.series else None
    over = top if top is not None else np.ones_like(siemens)
    return np.asarray((siemens / over)[chosen])


def _changed(net: Network, values: Mapping[str, Array], chosen: NDArray[np.int64]) -> NDArray[np.int64]:
    """Parts of the file that change their value, (candidate,)."""
    parts = net.amplifier.parts
    out = np.zeros(len(chosen), dtype=np.int64)
    for name, x in values.items():
        part = name.removesuffix(" ohms")
        if part not in net.added:
            out += np.abs(x[chosen] / parts[part].value("ohms") - 1.0) > 1e-9
    return out


def shortlist(found: Searched, each: int = 3) -> list[Design]:
    """The first few by each merit: least changed, idle near the middle of the travel, finest to set, least hum."""
    if not found.designs:
        return []
    tight = found.room < min(ROOMY, 0.5 * found.room.max())
    off = np.abs(found.turn - 0.5) > NEAR_MIDDLE
    orders: Iterable[Any] = (
        np.lexsort((-found.room, found.changed)),
        np.lexsort((found.span, off, tight)),
        np.lexsort((found.span, tight)),
        np.lexsort((found.hum, tight)),
    )
    out: dict[int, None] = {}
    for order in orders:
        picked: list[int] = []
        for k in order:
            if all(_apart(found.designs[k], found.designs[j]) for j in picked):
                picked.append(int(k))
            if len(picked) == each:
                break
        out |= dict.fromkeys(picked)
    return [found.designs[k] for k in out]


def _apart(one: Design, other: Design) -> bool:
    """Whether two designs differ by more than a neighbouring value or two somewhere."""
    return any(abs(np.log(one[k] / other[k])) > 0.15 for k in one)
