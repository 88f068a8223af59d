"""Virtual amplifiers with one planted danger each, up the ladder rung by rung until it stops them, and what they stood."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import numpy as np
from planted import ROWS, Planted

from at_hand import built
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Situation
from firstglow.devices.catalogue import valve_type
from firstglow.ladder.ladder import Ladder
from firstglow.readings.asked import Block, Cast, blocks, needs_standing
from firstglow.readings.finish import glow_word
from firstglow.readings.observe import Observer
from firstglow.readings.probe import PlannedReading
from firstglow.readings.spreads import Draws, draw, settings
from firstglow.readings.stops import SURGE_HIGH, SURGE_LOW, SURGE_STEP_VOLTS
from firstglow.readings.trial import judge, show

EXAMPLES = Path(__file__).parents[2] / "examples"
POPULATION = 64  # healthy amplifiers behind each sigma: known to 9 % (1 / sqrt(2 n))
SEED = 4711  # not the seed behind the bands
SIGMAS = 4.0


class Watching(Observer):
    """An observer that keeps the standing solutions of the last rung it saw."""

    stood: dict[str, Any]

    def _stand(self, block: Block, cast: Cast) -> Any:
        found = super()._stand(block, cast)
        self.stood[block.dc_key] = found.standing
        return found


@dataclass
class Bench:
    """One example with its ladder and its healthy amplifiers. shown: what the meters show by reading id, (sample,); codes: verdicts."""

    ladder: Ladder
    draws: Draws
    shown: dict[str, Any]
    codes: dict[str, Any]
    planned: dict[str, PlannedReading]


@dataclass(frozen=True)
class Sight:
    """One reading that the fault moved: by how many sigmas (inf: a lamp, a look or an open circuit that changed)."""

    rung: str
    reading: str
    sigmas: float


@dataclass
class Climb:
    """How far one virtual amplifier came.

    seen: first sight of at least SIGMAS. stop: the first such that the ladder does not let pass (and lets pass without
    the fault). hint: an earlier reading that it did not let pass, moved by less; it is not counted on. stress: the worst
    share of what it must not pass (1 is 2 x dissipation, surge volts, 2 x winding current), and of what.
    unsettled: situations before the stop without a solution.
    """

    planted: Planted
    sample: int
    seen: Sight | None = None
    stop: Sight | None = None
    hint: Sight | None = None
    stress: tuple[float, str] = (0.0, "nothing")
    unsettled: list[str] = field(default_factory=list)


def bench(name: str) -> Bench:
    """Build the ladder and read every healthy amplifier on it."""
    ladder = built(load((EXAMPLES / f"{name}.toml").read_text(encoding="utf-8")), mode="fast")
    sheet = ladder.sheet
    draws = draw(sheet.observer.circuit, POPULATION, sheet.mains_width, SEED)
    cast = Cast(draws.values, settings(sheet.setting, POPULATION, SEED), (), POPULATION, np.arange(POPULATION))
    seen = sheet.observer.see_side_by_side(sheet.wanted, cast, ohms_for=lambda r: True)
    shown = show(ladder.expected, sheet, seen, cast, SEED)
    judged = judge(ladder.expected, shown)
    codes = dict(zip(judged.ids, judged.codes, strict=True))
    planned = {r.id: r for b in sheet.wanted for r in b.readings}
    return Bench(ladder, draws, shown, codes, planned)


def climb(on: Bench, planted: Sequence[Planted], numbers: Sequence[int], powered_only: bool) -> list[Climb]:
    """Every danger in every amplifier of ``numbers``; with ``powered_only`` nothing unplugged and no look is counted."""
    climbs = [Climb(p, n) for p in planted for n in numbers]
    watching = Watching(on.ladder.frame.amplifier, on.ladder.sheet.observer.circuit)
    for rung in on.ladder.expected.rungs:
        going = [c for c in climbs if c.stop is None]
        wanted = [on.planned[r.id] for r in rung.readings if r.id in on.planned]
        if powered_only:
            wanted = [r for r in wanted if r.probe.kind != "look" and r.situation.mains_volts > 0.0]
        if going and wanted:
            _one_rung(on, watching, rung.id, wanted, going)
    return climbs


def _one_rung(
    on: Bench, watching: Watching, rung: str, wanted: Sequence[PlannedReading], going: Sequence[Climb]
) -> None:
    numbers = np.array([c.sample for c in going])
    setting = {v: s[numbers] for v, s in settings(on.ladder.sheet.setting, POPULATION, SEED).items()}
    each = tuple((c.planted.fault,) for c in going)
    cast = Cast(on.draws.values[:, numbers], setting, each, POPULATION, numbers)
    watching.stood = {}
    with np.errstate(all="ignore"):
        seen = watching.see(blocks(wanted), cast, ohms_for=lambda r: True)
    shown = show(on.ladder.expected, on.ladder.sheet, seen, cast, SEED)
    judged = judge(on.ladder.expected, shown) if shown else None
    codes = {} if judged is None else dict(zip(judged.ids, judged.codes, strict=True))
    key = {r.id: b.dc_key for b in blocks(wanted) if needs_standing(b) for r in b.readings}
    shares = {k: stress(on, s) for k, s in watching.stood.items()}
    for k, c in enumerate(going):
        stood: set[str] = set()
        for r in wanted:
            at = key.get(r.id)
            if at is not None and at not in stood:
                stood.add(at)
                if bool(watching.stood[at].settled[k]):
                    worst = max((float(v[k]), f"{what}, rung {rung}") for what, v in shares[at].items())
                    if worst[0] >= 1.0:
                        worst = min(worst, _while_the_dial_rises(on, rung, wanted, r.situation, cast.one(k)) or worst)
                    c.stress = max(c.stress, worst)
                else:
                    c.unsettled.append(r.id)
            sigmas, stopped = _look(c, r) if r.probe.kind == "look" else _moved(on, c, k, r, shown, codes)
            if sigmas >= SIGMAS and c.seen is None:
                c.seen = Sight(rung, r.id, sigmas)
            if stopped and sigmas >= SIGMAS:
                c.stop = Sight(rung, r.id, sigmas)
                break
            if stopped and c.hint is None:
                c.hint = Sight(rung, r.id, sigmas)


def _while_the_dial_rises(
    on: Bench, rung: str, wanted: Sequence[PlannedReading], at: Situation, cast: Cast
) -> tuple[float, str] | None:
    """The worst share at the dial at which the ammeter passes its stop limit; None where it is not watched or does not.

    Rung 2a has the ammeter watched from dial zero against the limit that it has at the rung's own dial.
    """
    watched = next((r for r in wanted if r.probe.quantity == "mains amps" and r.situation == at), None)
    if watched is None or rung != "2a":
        return None
    limit = on.ladder.expected.by_id[watched.id].stop_above
    circuit = on.ladder.sheet.observer.circuit
    for share in np.arange(1, 41) / 40:
        laid = cast.laid(circuit, at.but(mains_volts=share * at.mains_volts))
        standing = circuit.solve(laid)
        if limit is not None and float(standing.row(watched.probe)[0]) > limit.limit:
            volts = share * at.mains_volts
            return max((float(v[0]), f"{what}, rung {rung}, {volts:.0f} V") for what, v in stress(on, standing).items())
    return None


def _look(c: Climb, r: PlannedReading) -> tuple[float, bool]:
    no = any(fnmatchcase(r.id, pattern) for pattern in c.planted.looks)
    return (np.inf if no else 0.0), no


def _moved(
    on: Bench, c: Climb, k: int, r: PlannedReading, shown: dict[str, Any], codes: dict[str, Any]
) -> tuple[float, bool]:
    """(sigmas the fault moved what the meter shows, the ladder stops it and would not without the fault)."""
    if r.id not in shown or r.id not in on.shown:
        return 0.0, False
    ill, well = float(shown[r.id][k]), float(on.shown[r.id][c.sample])
    expected = on.ladder.expected.by_id[r.id]
    if expected.on is None:
        sigmas = np.inf if glow_word(ill) != glow_word(well) else 0.0
    elif expected.expected is None:  # an open circuit: what the meter can show at all has changed
        full = expected.on.full
        sigmas = np.inf if (ill > full) != (well > full) else 0.0
    else:
        sigma = max(float(np.std(on.shown[r.id])), expected.on.step / 12**0.5)  # a meter's step: JCGM 100, F.2.2.1
        if r.probe.quantity == "hum volts":
            # what heaters and wiring add is in the band and in no sample: a healthy amplifier's hum lies anywhere in it
            sigma = max(sigma, ((expected.high or 0.0) - float(expected.expected)) / SIGMAS)
        sigmas = abs(ill - well) / sigma
    # a verdict that the same amplifier does not give when healthy: worse than its own
    return sigmas, bool(codes[r.id][k] > on.codes[r.id][c.sample])


def stress(on: Bench, standing: Any) -> dict[str, Any]:
    """What a standing solution asks of the parts, (sample,), as a share of what must not be passed.

    1 is 2 x a valve's rated plate or screen watts, a capacitor's surge volts, 2 x a winding's rated amps.
    """
    amplifier = on.ladder.frame.amplifier
    out: dict[str, Any] = {"nothing": np.zeros(standing.x.shape[1])}
    for part in amplifier.of_kind("valve"):
        kind = valve_type(part.type or "")
        limits = next(s for s in kind.sections if s.limits is not None).limits
        row = standing.part(part.name)
        for electrode, most in (("plate", limits.plate_watts), ("screen", limits.screen_watts)):
            if most and f"{electrode}_watts" in row:
                out[f"{part.name} {electrode} watts"] = row[f"{electrode}_watts"] / (2.0 * most)
    for part in amplifier.of_kind("capacitor"):
        volts = part.value("volts")
        if volts > 0:
            surge = volts * (SURGE_LOW if volts <= SURGE_STEP_VOLTS else SURGE_HIGH)
            out[f"{part.name} volts"] = np.abs(standing.dc(part.leads["+"]) - standing.dc(part.leads["-"])) / surge
    for part in amplifier.of_kind("transformer"):
        for w in part.windings:
            if w.amps is not None:
                # ratings of rectified windings are dc amps of the supply; the rms of its pulses is the larger figure
                out[f"{part.name} {w.name} amps"] = standing.part(f"{part.name} {w.name}")["amps_rms"] / (
                    2.0 * w.amps.value
                )
    return out


def row_rung(on: Bench, row: str | None, part: str) -> str | None:
    """The rung on which a row of the reference stands in this ladder; None where the ladder has no such reading."""
    patterns = [pattern.format(part=part) for pattern in ROWS[row]] if row is not None else []
    for rung in on.ladder.expected.rungs:
        if any(fnmatchcase(r.id, pattern) for r in rung.readings for pattern in patterns):
            return rung.id
    return None


def order(on: Bench, rung: str) -> int:
    """Place of a rung."""
    return [r.id for r in on.ladder.expected.rungs].index(rung)
