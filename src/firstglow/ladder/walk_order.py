"""Rules of the safety walk for the order of things: holds, bias before output valves, loops, company, the lamp."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from firstglow.amplifier.situation import Situation
from firstglow.ladder.walk_step import Violation, Walk, ht_is_on, outputs_in, say

TEST_LOOP = 0.2  # loop gain with the test resistor in, at most
# A loop gain that leaves 0.92 of the output and more: by what two readings of a meter may be wrong it is not clear of 0.95, from
# where nothing shows; and so weak a loop does not howl whichever way round it is. Cold phasing shows its sense.
NO_LOOP = 1.0 / 0.92 - 1.0


def holds(on: Walk) -> Iterator[Violation]:
    """Mains only after a signed hold, HT only after another, every need an id of a rung that is already climbed."""
    seen: set[str] = set()
    signed = 0
    for rung in on.rungs:
        seen |= {r["id"] for r in rung["readings"]}
        for at in (on.situation(rung), *(on.situation(rung, r) for r in rung["readings"])):
            if at.mains_volts > 0 and signed < 1:
                yield say("holds", rung, None, "mains on before the first signed hold")
            elif signed < 2 and ht_is_on(on, at):
                yield say("holds", rung, None, "HT on before the second signed hold")
        for need in rung["hold"]["needs"]:
            if need not in seen:
                yield say("holds", rung, None, f"its hold needs {need}, which nobody has read yet")
        if rung["hold"]["signed"]:
            signed += 1
            if not rung["hold"]["needs"]:
                yield say("holds", rung, None, "a signed hold that needs no reading")
    if not 3 <= signed <= 6 and on.rungs[-1]["id"] == "10":
        yield Violation("holds", "", "", f"{signed} signed holds; about five")


def bias_first(on: Walk) -> Iterator[Violation]:
    """Output valves only after a signed hold that needs their grids read, small valves in, at most negative."""
    proved: set[str] = set()
    by_id = {r["id"]: (rung, r) for rung in on.rungs for r in rung["readings"]}
    for rung in on.rungs:
        for reading in (None, *rung["readings"]):
            for valve in sorted(outputs_in(on, on.situation(rung, reading)) - proved):
                yield say("bias first", rung, reading, f"{valve} is in before its grid is proved at its most negative")
                proved.add(valve)
        if rung["hold"]["signed"]:
            for need in rung["hold"]["needs"]:
                proved |= _proves(on, *by_id[need]) if need in by_id else set()


def _proves(on: Walk, rung: Mapping[str, Any], reading: Mapping[str, Any]) -> set[str]:
    """Output valves whose grid a reading proves: dc at the grid pin, output valves out, every small valve in, every
    control where it makes that grid most negative (0 V for cathode bias)."""
    at = on.situation(rung, reading)
    found = set()
    for v in on.roles.outputs:
        part = on.amplifier.parts[v.valve]
        if reading["kind"] != "dc volts" or reading["red"] != part.leads["grid"] or at.mains_volts == 0.0:
            continue
        small = {p.envelope for p in on.amplifier.of_kind("valve")} - {
            on.amplifier.parts[o.valve].envelope for o in on.roles.outputs
        }
        limited = reading["stop_above"] is not None or reading["stop_below"] is not None
        if not (at.out & small) and not outputs_in(on, at) and limited and _most_negative(on, at, part.leads["grid"]):
            found.add(v.valve)
    return found


def _most_negative(on: Walk, at: Situation, grid: str) -> bool:
    """No single control, turned elsewhere, makes this grid more negative without making another one less so."""
    here = on.physics.joints(at)
    grids = [on.amplifier.parts[v.valve].leads["grid"] for v in on.roles.outputs]
    for pot in on.amplifier.of_kind("pot"):
        for place in (0.0, 1.0):
            there = on.physics.joints(at.but(pots={**at.pots, pot.name: place}))
            moved = {g: there[g][0] - here[g][0] for g in grids}
            if moved[grid] < -0.1 and not any(m > 0.1 for m in moved.values()):
                return False
    return True


def loop_last(on: Walk) -> Iterator[Violation]:
    """The designed loop is closed with output valves in only after its polarity is seen, in each channel."""
    liftable = [loop for loop in on.roles.loops if loop.link]
    proved: set[str | None] = set()
    for rung in on.rungs:
        for reading in (None, *rung["readings"]):
            at = on.situation(rung, reading)
            if not outputs_in(on, at) or at.feedback == "open":
                continue
            if at.feedback == "test":
                yield from _test_loop(on, rung, reading, at)
                continue
            for loop in liftable:
                if loop.channel not in proved and loop.link not in at.lifted:
                    yield say("loop last", rung, reading, f"{loop.link} closed before its polarity is seen")
                    proved.add(loop.channel)
        if rung["hold"]["signed"]:
            needs = set(rung["hold"]["needs"])
            proved |= {
                r["channel"]
                for r in rung["readings"]
                if r["id"] in needs and on.situation(rung, r).feedback == "test" and r["stop_above"] is not None
            }
            proved |= _phased_cold(on, rung)
    fixed = [loop for loop in on.roles.loops if not loop.link]
    if fixed and not liftable:
        yield from _phased(on)


def _phased_cold(on: Walk, rung: Mapping[str, Any]) -> set[str | None]:
    """Channels whose loop is too weak to be tried, and whose cold phasing this rung's hold needs."""
    cold = {
        r["id"]
        for earlier in on.rungs
        for r in earlier["readings"]
        if r["kind"] == "ac volts" and on.situation(earlier, r).mains_volts == 0.0
    }
    at = on.situation(rung)
    if at.mains_volts == 0.0 or not cold & set(rung["hold"]["needs"]):
        return set()
    closed = at.but(feedback="closed", test_ohms=None)
    return {x.channel for x in on.roles.loops if x.link and on.physics.loop_gain(closed, x.channel) < NO_LOOP}


def _test_loop(
    on: Walk, rung: Mapping[str, Any], reading: Mapping[str, Any] | None, at: Situation
) -> Iterator[Violation]:
    for loop in on.roles.loops:
        if loop.link and (gain := on.physics.loop_gain(at, loop.channel)) > TEST_LOOP * 1.005:
            yield say("loop last", rung, reading, f"loop gain {gain:.2f} with the test resistor in")


def _phased(on: Walk) -> Iterator[Violation]:
    """A loop that cannot be lifted is proved by cold phasing before any output valve is in."""
    for rung in on.rungs:
        if any(outputs_in(on, on.situation(rung, r)) for r in (None, *rung["readings"])):
            yield say("loop last", rung, None, "a loop that cannot be lifted, and no cold phasing before")
            return
        if any(r["kind"] == "ac volts" and on.situation(rung, r).mains_volts == 0.0 for r in rung["readings"]):
            return


def company(on: Walk) -> Iterator[Violation]:
    """Load on whenever an output valve is in; direct-coupled partners together; one channel first; together where one
    resistor makes all their bias."""
    together = [
        {on.amplifier.parts[s.valve].envelope, on.amplifier.parts[o].envelope}
        for s in on.roles.smalls
        for o in s.direct_coupled_to
    ]
    back = {v.valve for v in on.roles.outputs if v.bias == "back"}
    for rung, reading, at in on.every():
        fitted = outputs_in(on, at)
        if fitted and at.load == "none":
            yield say("company", rung, reading, "output valves in and no load")
        if fitted & back and back - fitted:
            yield say("company", rung, reading, "only some of the valves that make one bias together are in")
        if ht_is_on(on, at):
            for pair in together:
                out = {e for e in pair if e in at.out}
                if out and out != pair and fitted:
                    yield say("company", rung, reading, f"{', '.join(sorted(str(e) for e in pair))}: one of them alone")
    yield from _one_channel_first(on)


def _one_channel_first(on: Walk) -> Iterator[Violation]:
    channels = {v.channel for v in on.roles.outputs}
    if len(channels) < 2 or any(v.bias == "back" for v in on.roles.outputs):
        return
    of = {v.valve: v.channel for v in on.roles.outputs}
    for rung, reading, at in on.every():
        fitted = {of[v] for v in outputs_in(on, at)}
        if fitted:
            if len(fitted) > 1:
                yield say("company", rung, reading, "output valves of two channels go in at once")
            return


def lamp_first(on: Walk) -> Iterator[Violation]:
    """Mains, HT and the first output valves are each met with the lamp in."""
    states: tuple[tuple[str, Callable[[Situation], bool]], ...] = (
        ("the mains", lambda at: at.mains_volts > 0),
        ("HT", lambda at: ht_is_on(on, at)),
        ("output valves", lambda at: bool(outputs_in(on, at))),
    )
    for name, met in states:
        for rung in on.rungs:
            situations = [on.situation(rung, r) for r in rung["readings"]]
            if any(met(at) for at in (on.situation(rung), *situations)):
                if not any(at.lamp_watts for at in (on.situation(rung), *situations)):
                    yield say("lamp first", rung, None, f"{name} met without the lamp")
                break
