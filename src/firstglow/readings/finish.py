"""From bands to finished rows: expected text, stop limits, words for lamps and looks; what the amplifier cannot do."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Feedback
from firstglow.readings.apart import Apart, Ground
from firstglow.readings.expected import ANOTHER, ExpectedReading, ExpectedRung, Stop, hidden_text, overload
from firstglow.readings.least import least_ohms
from firstglow.readings.limit import Limit
from firstglow.readings.meters import BOND_TESTER, Meter, Range, loaded
from firstglow.readings.observe import MIDDLE
from firstglow.readings.probe import PlannedReading, PlannedRung
from firstglow.readings.seen import Seen
from firstglow.readings.sheet import Bands, Sheet
from firstglow.readings.slopes import shares
from firstglow.readings.stop_points import StopPoints
from firstglow.readings.stops import HALF, Limits
from firstglow.readings.straight import NOTHING
from firstglow.readings.tightest import tightest
from firstglow.readings.typed import LAMP_WORDS

Array = NDArray[np.float64]

# A lamp in series glows by the share of its own rated volts that is across it: under a seventh nothing is seen, from
# four fifths it is as bright as on the wall (common practice; power goes with V^1.5 to V^1.6, light with V^3.4).
GLOW = ((0.15, "dark"), (0.45, "dim"), (0.80, "half"), (np.inf, "full"))
# Hum of an ac-heated first valve, its wiring and what it picks up, at its grid [V rms]: a good layout has some tens of
# microvolts, an ordinary old amplifier up to this (common practice). The HT's own ripple is computed.
HUM_AT_INPUT = 0.3e-3
# Of that, what is usual: halfway to tens of microvolts, as a ratio.
USUAL = 1.0 / 3.0
# What moves a reading of hum most where that is more than the ripple of HT.
HEATERS = "hum of heaters and wiring at the input"
# What an overload says where the stop limit lies past the range.
OVER = {
    "stop": "OL on this range counts as past the stop: it may be.",
    "up": "OL on this range: one range up, and read it again.",
}
# A word that fewer amplifiers than this would give is no healthy answer.
RARE_WORD = 0.001
# A pot that runs out in more amplifiers than this is a result of the amplifier.
SHORT = 0.01


def glow_word(share: float) -> str:
    """The word for a lamp with this share of its rated volts across it."""
    return next(word for most, word in GLOW if share < most)


def numbers(sheet: Sheet, low: Array, high: Array, meter: Meter) -> dict[str, ExpectedReading]:
    """The numeric readings, without stops."""
    made = {}
    gains: dict[str, Mapping[str | None, Array]] = {}
    sigma = np.sqrt((sheet.found.sigmas**2).sum(axis=0))
    for i, r in enumerate(sheet.readings):
        on = sheet.on[i]
        hum = heater_hum(sheet, r, gains)
        expected = on.rounded(float(np.hypot(sheet.shown[i], hum * USUAL)) if hum else float(sheet.shown[i]))
        most = float(high[i]) + hum + r.rest_volts
        down, up = min(on.rounded(float(low[i]) - r.rest_volts, -1), expected), max(on.rounded(most, 1), expected)
        if not on.signed:
            down = max(down, min(floor_of(sheet, r, on), expected))
        curve = tuple(float(v) for v in mains_curve(sheet, i))
        made[r.id] = ExpectedReading(
            r, r.id.split("/")[0], on, expected, down, up, moved_by=_with_hum(shares(sheet.found, i), hum, sigma[i]),
            source_ohms=float(sheet.source_ohms[i]), sigma=float(sigma[i]), mains_curve=curve, note_only=r.note_only,
            ground=sheet.grounds[i], start=start_of(sheet.grounds[i], on, meter),
        )  # fmt: skip
    return made


def _with_hum(parts: tuple[tuple[str, float], ...], hum: float, sigma: float) -> tuple[tuple[str, float], ...]:
    """The parts that move a reading, those of a hum behind what heaters and wiring bring where that is more: a rectangle from
    nothing to ``hum`` [V], beside one standard deviation of the parts' own."""
    own = hum**2 / 12.0
    share = own / (own + float(sigma) ** 2) if own > 0.0 else 0.0
    return ((HEATERS, share), *((p, s * (1.0 - share)) for p, s in parts)) if share > 0.5 else parts


def floor_of(sheet: Sheet, r: PlannedReading, on: Range) -> float:
    """What the foot of an ohms band may not go below: where junctions make it as wide as decades, its own width would
    bring it to nothing, and nothing is a short (half of the least that the ways drawn may show)."""
    if r.probe.quantity != "ohms" or not any(rule.rule == "path" for rule in r.stops):
        return 0.0
    block = next(b for b in sheet.wanted if any(q.id == r.id for q in b.readings))
    return on.rounded(least_ohms(sheet.observer, block, r) * HALF, -1)


def start_of(ground: Ground, on: Range, meter: Meter) -> Range | None:
    """The range to put the meter on first where that is another than ``on``."""
    first = ground.start(meter)
    return None if first is None or first.full <= on.full else first


def heater_hum(sheet: Sheet, r: PlannedReading, known: dict[str, Mapping[str | None, Array]]) -> float:
    """What heaters, wiring and the mains transformer's field may add to the computed hum of a healthy amplifier [V].
    known: the channels' gains by block, filled as they are asked for."""
    if r.probe.quantity != "hum volts":
        return 0.0
    block = next(b for b in sheet.wanted if any(q.id == r.id for q in b.readings))
    if block.key not in known:
        from firstglow.solver.midband import gains
        from firstglow.solver.slopes import valve_slopes

        standing = sheet.observer.point(block).standing
        slopes = valve_slopes(sheet.observer.circuit, standing.x, standing.values)
        loop: Feedback = "closed" if r.situation.feedback == "closed" else "open"
        known[block.key] = gains(sheet.observer.amplifier, r.situation.but(feedback=loop), slopes)
    channels = known[block.key]
    own = channels[r.channel] if r.channel in channels else next(iter(channels.values()), np.zeros(1))
    return HUM_AT_INPUT * abs(float(np.ravel(own)[0]))


def mains_curve(sheet: Sheet, i: int) -> Array:
    """Nominal shown value at MAINS_STEPS; empty for a reading with the mains off."""
    r = sheet.readings[i]
    if r.situation.mains_volts <= 0.0:
        return np.empty(0)
    return np.asarray(loaded(sheet.nominal.values[r.id], sheet.source_ohms[i], sheet.on[i].input_ohms))


def limits_of(
    sheet: Sheet,
    made: Mapping[str, ExpectedReading],
    points: Callable[[], StopPoints],
    hot: Mapping[tuple[str, str, str], float],
) -> Limits:
    """The rules' view of the ladder."""
    by_id = {r.id: b for b in sheet.wanted for r in b.readings}
    expected = {r.id: unrounded(sheet, i) for i, r in enumerate(sheet.readings)}
    return Limits(
        sheet.observer, expected, by_id, {i: m.source_ohms for i, m in made.items()},
        {i: m.on for i, m in made.items() if m.on is not None}, points,
        lambda name, valve, electrode: hot.get((name, valve, electrode), 1.0),
    )  # fmt: skip


def unrounded(sheet: Sheet, i: int) -> float:
    """What is expected, before it is put on the meter's step; nothing is nothing, whatever its sign."""
    shown, on = float(sheet.shown[i]), sheet.on[i]
    return shown if abs(shown) > NOTHING * on.step else on.rounded(shown)


def finish(
    sheet: Sheet,
    rungs: Sequence[PlannedRung],
    made: Mapping[str, ExpectedReading],
    meter: Meter,
    limits: Limits,
    sampled: Seen | None,
) -> tuple[ExpectedRung, ...]:
    """Every rung with every reading, numeric or not, with its stops."""
    from dataclasses import replace

    from firstglow.readings.bridged import bridged

    out = []
    for rung in rungs:
        rows = []
        for r in rung.readings:
            row = made.get(r.id) or special(sheet, r, meter, sampled)
            row = with_stops(sheet.observer.amplifier, row, rung.id, limits, meter)
            rows.append(replace(row, bridged=bridged(sheet.observer, row)))
        out.append(ExpectedRung(rung, tuple(rows)))
    return tuple(out)


def special(sheet: Sheet, r: PlannedReading, meter: Meter, sampled: Seen | None) -> ExpectedReading:
    """Lamps, looks, bonds and open circuits."""
    quantity = r.probe.quantity
    rung = r.id.split("/")[0]
    if quantity == "look":
        word = r.expect_word or "yes"
        return ExpectedReading(r, rung, None, word, words=(word,), note_only=r.note_only)
    if quantity == "lamp":
        return lamp(sheet, r, rung, sampled)
    stated = next((s.limit for s in r.stops if s.rule == "fixed" and s.limit is not None), None)
    if quantity == "bond ohms":
        most = stated if stated is not None else 0.1
        on = BOND_TESTER if most < meter.of_kind("ohms")[0].limits(0.0) else meter.range_for("ohms", most)
        moved = bond_of(sheet.observer.amplifier, r)
        return ExpectedReading(r, rung, on, 0.0, 0.0, most, moved_by=moved, note_only=r.note_only)
    on = meter.of_kind("ohms")[-1]
    low = min(on.full, on.rounded(least_open(sheet, r, on), -1) if stated is None else stated)
    limits = () if stated is None else (Apart("below", stated, next(s.why for s in r.stops if s.rule == "fixed")),)
    ground = Ground(r.probe.kind, np.inf, 0.0, limits)
    return ExpectedReading(r, rung, on, None, low, None, note_only=r.note_only, ground=ground)


def bond_of(amplifier: Amplifier, r: PlannedReading) -> tuple[tuple[str, float], ...]:
    """What a bond's ohms are of: the wires drawn between its two joints, and the cord where it is read through one; the
    tester's own leads where nothing is drawn."""
    ends = {r.probe.red, r.probe.black}
    parts = [p.name for p in amplifier.of_kind("wire") if set(p.leads.values()) == ends]
    parts = [*(["the cord"] if "cord" in r.id else []), *parts] or ["the meter"]
    return tuple((part, 1.0 / len(parts)) for part in parts)


def least_open(sheet: Sheet, r: PlannedReading, on: Range) -> float:
    """The least that an open circuit of this drawing may show: half its leakage, else the top of the meter.

    A junction in its way opens for one meter and not for another: where it may, the row says nothing of insulation.
    """
    true = float(sheet.nominal.values[r.id][MIDDLE])
    if r.probe.quantity == "ohms":
        block = next(b for b in sheet.wanted if any(q.id == r.id for q in b.readings))
        true = min(true, least_ohms(sheet.observer, block, r))
    return min(on.full, true / 2.0)


def lamp(sheet: Sheet, r: PlannedReading, rung: str, sampled: Seen | None) -> ExpectedReading:
    """The lamp's word, and every word that healthy amplifiers give."""
    word = glow_word(float(sheet.nominal.values[r.id][MIDDLE]))
    words = {word}
    if sampled is not None and r.id in sampled.values:
        seen = sampled.values[r.id]
        for w in LAMP_WORDS:
            if np.mean([glow_word(float(s)) == w for s in seen]) > RARE_WORD:
                words.add(w)
    return ExpectedReading(r, rung, None, word, words=tuple(w for w in LAMP_WORDS if w in words), note_only=r.note_only)


def with_stops(amplifier: Amplifier, row: ExpectedReading, rung: str, limits: Limits, meter: Meter) -> ExpectedReading:
    """The row with its stop limits, and with what it cannot tell from them."""
    from dataclasses import replace

    on = row.on
    if on is None:
        return replace(row, rung=rung)
    # unplugged ohms are spread by tolerances, which end: nothing healthy lies outside, no room is kept there
    middle = row.expected if isinstance(row.expected, float) and row.kind != "ohms" else None
    row = from_nothing(row)
    found = limits.of(row.planned)
    row = replace(row, rung=rung, ground=grounded(row, found))
    row = replace(row, hidden="" if row.note_only else hidden_text(row, on, meter))
    coarse = row.hidden_from(on) is not None
    shown = row.expected if isinstance(row.expected, float) and row.planned.probe.quantity != "bond ohms" else None
    below, above = tightest(
        found, row.low, row.high, on, lambda: ANOTHER if coarse else cheapest(amplifier, row), middle, shown, coarse,
    )  # fmt: skip
    means = overload(above, on, meter) if above is not None and above.limit > on.full else ""
    row = replace(row, stop_below=below, stop_above=above, over=OVER.get(means, ""))
    return looked_at(row, limits.working(row.planned))


def looked_at(row: ExpectedReading, found: Sequence[Limit]) -> ExpectedReading:
    """The row with the rating that it may pass for seconds only, short of the stop. Its band stays what healthy amplifiers do:
    where the rating cuts that, it is a result about the amplifier."""
    from dataclasses import replace

    over = [limit for limit in found if limit.side == "above" and limit.value > 0.0]
    if not over or row.on is None:
        return row
    least = min(over, key=lambda limit: limit.value)
    at = row.on.rounded(least.value, -1)
    cut = row.high is not None and at < row.high
    return replace(row, looked=Stop(at, least.why, cut))


def grounded(row: ExpectedReading, found: Sequence[Limit]) -> Ground:
    """What a range of any meter is judged on: every limit of the row, with no meter across."""
    from dataclasses import replace

    assert row.on is not None
    if not isinstance(row.expected, float) or row.planned.probe.quantity == "bond ohms":
        return row.ground
    share = row.share(row.on)
    limits = tuple(
        Apart(f.side, (f.value if f.apart is None else f.apart) / share, f.why, bool(f.yielded)) for f in found
    )
    return replace(row.ground, limits=limits)


def from_nothing(row: ExpectedReading) -> ExpectedReading:
    """A leak is bounded on one side only: where nothing should stand, a part better than its kind reads nothing, and passes."""
    from dataclasses import replace

    if row.on is None or row.low is None or row.high is None or not isinstance(row.expected, float):
        return row
    limits = [rule.limit for rule in row.planned.stops if rule.rule == "zero" and rule.limit is not None]
    if not any(abs(row.expected) <= limit for limit in limits):
        return row
    slack = row.on.rounded(row.on.limits(0.0))
    return replace(row, low=min(row.low, row.on.rounded(-slack)), high=max(row.high, slack))


def cheapest(amplifier: Amplifier, row: ExpectedReading) -> str:
    """The cheapest measurement that tells a healthy amplifier from a sick one where a stop cuts the band.

    Unplugged ohms before a reading under power, a reading before a part that has to be tried in its place.
    """
    offers: list[tuple[int, str]] = []
    for name, _ in row.moved_by:
        part = amplifier.parts.get(name)
        if name.startswith("mains"):
            offers.append((0, "read the mains at the same moment and give them with the reading"))
        elif name == HEATERS:
            offers.append((0, "look at the first valve: its heater's centre tap, its screen, its grid lead"))
        elif part is not None:
            offers.append(offer(part))
    return min(offers, default=(9, "measure the part that moves it most, unplugged"))[1]


def offer(part: Part) -> tuple[int, str]:
    """(cost, text) of measuring one part."""
    if part.kind in {"resistor", "pot", "choke"}:
        return 1, f"measure {part.name} unplugged (ohms, one lead free) and give it in a measured layer"
    if part.kind == "transformer":
        return 2, f"read the open winding volts of {part.name} with every valve out and give them in a measured layer"
    if part.kind in {"valve", "rectifier"}:
        return 3, f"try another {part.type} in the place of {part.name}, plug out and cold"
    return 4, f"measure {part.name} unplugged"


def found_out(sheet: Sheet, by_id: Mapping[str, ExpectedReading], bands: Bands, limits: Limits) -> tuple[str, ...]:
    """What this amplifier cannot do, in bench words: bias that does not reach, a pot out of travel, a limit inside."""
    out: list[str] = []
    for r in by_id.values():
        if r.hidden:
            out.append(f"{r.planned.what}: {r.hidden}")
        cut = [s for s in (r.stop_below, r.stop_above) if s is not None and s.cut and r.hidden_from(r.on) is None]
        out += [f"{r.planned.what}: {s.why}; healthy amplifiers may read there. First {s.separate}" for s in cut]
        for rule in r.planned.stops:
            limit, expected = r.stop_above, r.expected
            if rule.rule == "bias safe" and limit and isinstance(expected, float) and expected > limit.limit:
                out.append(
                    f"the bias network does not reach: {rule.part} needs {r.text(limit.limit)} at its grid, "
                    f"and gets {r.text(expected)} at its most negative"
                )
    seen = bands.seen or sheet.nominal
    for shorts in seen.short_of_idle.values():
        for valve, short in shorts.items():
            share = float(np.mean(short))
            if share > SHORT:
                out.append(
                    f"{valve}: its pot runs out of travel before the idle is reached in {100 * share:.0f} % of "
                    "amplifiers within the stated spreads"
                )
    return tuple(dict.fromkeys(out))
