"""Presets turned under power: which one sets which valve, which way, and what turning one does to HT and to the others."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from firstglow.amplifier.role_types import OutputValve
from firstglow.amplifier.situation import Situation

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

HALF = 0.5  # of its idle: from where a preset is told to be turned on
LEAST_VOLTS, LEAST_AMPS = 0.1, 0.05e-3  # less than that no meter at the bench shows as a move


def set_by(frame: "Frame", at: Situation) -> str:
    """Every idle and the preset that sets it: "V3 12 mA by left P1, V4 12 mA by left P2"."""
    by = _presets(frame)
    return ", ".join(
        f"{_amps(valve, amps)} by {by[valve]}" if valve in by else _amps(valve, amps)
        for valve, amps in sorted(at.idle.items())
    )


def turned(frame: "Frame", at: Situation) -> tuple[str, ...]:
    """The presets that the idle of a situation is set by, each once."""
    by = _presets(frame)
    return tuple(dict.fromkeys(by[valve] for valve in sorted(at.idle) if valve in by))


def turn(frame: "Frame", at: Situation) -> str:
    """What is turned for the idle of a situation, until what, and which way draws more."""
    say, by = frame.words.text, _presets(frame)
    valves: dict[str, list[str]] = {}
    for valve, amps in sorted(at.idle.items()):
        if valve in by:
            valves.setdefault(by[valve], []).append(_draws(valve, amps))
    if not valves:
        return ""
    until = "; ".join(say("turning.until", pot=pot, draws=" and ".join(d)) for pot, d in valves.items())
    return " ".join((say("turning.turn", until=until), *_ways(frame, valves), *_together(frame, at, valves)))


def _together(frame: "Frame", at: Situation, turned: Iterable[str]) -> Iterator[str]:
    """Presets that move several valves at once, and what watches those that no meter is clipped to."""
    for pot in turned:
        moved = [v.valve for v in frame.roles.outputs if pot in v.pots and frame.envelope(v.valve) not in at.out]
        if len(moved) > 1:
            key = "turning.together" if len(moved) <= frame.gear.meters else "turning.unwatched"
            names = f"{', '.join(moved[:-1])} and {moved[-1]}"
            yield frame.words.text(key, pot=pot, valves=names, meters=frame.gear.meters)


def turning_lines(frame: "Frame", at: Situation, valves: Iterable[OutputValve]) -> tuple[str, ...]:
    """For a rung's own work: what is turned, and what turning each of these valves' presets does. Nothing where there is none."""
    told = turn(frame, at)
    return (told, *effects(frame, at, valves)) if told else ()


def effects(frame: "Frame", at: Situation, valves: Iterable[OutputValve]) -> Iterator[str]:
    """What HT and the other valves do while a preset is turned from half of its idle to all of it, the others left alone.
    Presets that do the same are told together."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    jobs: dict[str, tuple[OutputValve, set[str], Situation]] = {}
    for v in valves:
        if v.valve not in at.idle or v.pot is None or v.pot in jobs:
            continue  # one preset, told once
        own = {o.valve for o in frame.roles.outputs if o.pot == v.pot and o.valve in at.idle}
        halved = {name: amps * (HALF if name in own else 1.0) for name, amps in at.idle.items()}
        jobs[v.pot] = v, own, at.but(idle=halved)
    frame.physics.prepare(before for _, _, before in jobs.values())
    afters: dict[str, Situation] = {}
    for v, own, before in jobs.values():
        others = {pot: place for pot, place in frame.physics.settings(before).items() if pot != v.pot}
        afters[str(v.pot)] = at.but(idle={name: at.idle[name] for name in own}, pots={**at.pots, **others})
    frame.physics.turn_on((jobs[pot][2], after) for pot, after in afters.items())
    for pot, after in afters.items():
        v, own, before = jobs[pot]
        moves = [*_ht_moves(frame, before, after), *_valve_moves(frame, before, after, own)]
        half_amps, full = (f"{at.idle[v.valve] * share * 1e3:.3g}" for share in (HALF, 1.0))
        moved = "; ".join(moves) or frame.words.text("turning.nothing")
        alike.setdefault((half_amps, full, moved), []).append(pot)
    for (half, full, moved), pots in alike.items():
        key = "turning.effect" if len(pots) == 1 else "turning.effect_each"
        yield frame.words.text(key, pots=", ".join(pots), half=half, amps=full, moves=moved)


def _ht_moves(frame: "Frame", before: Situation, after: Situation) -> Iterator[str]:
    one, two = frame.physics.joints(before), frame.physics.joints(after)
    for supply in frame.supplies("ht"):
        moved = (two[supply.joint][0] - two[supply.ret][0]) - (one[supply.joint][0] - one[supply.ret][0])
        if abs(moved) >= LEAST_VOLTS:
            key = "turning.ht_falls" if moved < 0 else "turning.ht_rises"
            yield frame.words.text(key, node=supply.joint, volts=f"{abs(moved):.2g}")


def _valve_moves(frame: "Frame", before: Situation, after: Situation, own: set[str]) -> Iterator[str]:
    one, two = frame.physics.cathode_amps(before), frame.physics.cathode_amps(after)
    others, told = sorted(set(one) - own), dict[str, list[str]]()
    for name in others:
        moved = two[name] - one[name]
        if abs(moved) >= LEAST_AMPS:
            key = "turning.less" if moved < 0 else "turning.more"
            told.setdefault(frame.words.text(key, amps=f"{abs(moved) * 1e3:.2g}"), []).append(name)
    for text, names in told.items():
        every = len(names) == len(others) > 1
        yield f"{frame.words.text('turning.every') if every else ', '.join(names)} {text}"


def _ways(frame: "Frame", turned: Iterable[str]) -> Iterator[str]:
    """Away from its most negative end a grid lets more through."""
    ends: dict[str, list[str]] = {}
    for pot in turned:
        position = frame.negative_ends.get(pot)
        if position in (0.0, 1.0):
            ends.setdefault("end 2" if position == 0.0 else "end 1", []).append(pot)
    for end, names in ends.items():
        pots = f" ({', '.join(names)})" if len(ends) > 1 else ""
        yield frame.words.text("turning.way", pots=pots, end=end)


def _presets(frame: "Frame") -> dict[str, str]:
    """Valve -> the pot that its idle is set by, as the solver turns it."""
    return {valve: idle.pot for valve, idle in frame.amplifier.idle.items() if idle.pot is not None}


def _milli(amps: float) -> str:
    return f"{amps * 1e3:.3g} mA"


def _amps(valve: str, amps: float) -> str:
    return f"{valve} {_milli(amps)}"


def _draws(valve: str, amps: float) -> str:
    return f"{valve} draws {_milli(amps)}"
