"""The safety walk: a ladder's JSON is climbed on paper, and every step that could hurt is a violation.

It knows nothing of how the plan was made. Everything that can be worked out again (volts in each situation, ratings,
which loops exist, which grids are output grids) is worked out here from the amplifier and the printed situations.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from firstglow.amplifier import situation_from_json
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.role_types import Roles
from firstglow.amplifier.roles import roles
from firstglow.amplifier.situation import Situation
from firstglow.ladder.places import mains_joints
from firstglow.ladder.questions import Physics

# The trade's limits again, written out on their own: a slip in the plan's constants must not pass here too.
HAND_DC, HAND_AC = 60.0, 30.0  # V, V rms
WORKING_VOLTS = 10.0  # V before hands go in
TOOL_CHANGES_AT = 600.0  # V peak: 10 kohm below, 22 kohm above
LIVE_RAIL = 60.0  # V: from here a rail counts as HT
TEST_LOOP = 0.2
FORBIDDEN = ("safe to touch",)

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Violation:
    """One step that could hurt. rule: short name. rung, reading: where ("" for the whole ladder). text: what."""

    rule: str
    rung: str
    reading: str
    text: str


@dataclass(frozen=True)
class Walk:
    """What the rules look at. rungs: (rung, its situation). meter_volts, lead_volts: ratings [V]."""

    document: Document
    amplifier: Amplifier
    roles: Roles
    physics: Physics
    most_volts: float

    @property
    def rungs(self) -> list[Mapping[str, Any]]:
        """Rungs in order."""
        return list(self.document["rungs"])

    def situation(self, rung: Mapping[str, Any], reading: Mapping[str, Any] | None = None) -> Situation:
        """The situation a rung, or one of its readings, is printed with."""
        data = dict(rung["situation"])
        data.update({k: v for k, v in (reading or {}).get("situation", {}).items() if k != "text"})
        return situation_from_json(data)

    def every(self) -> Iterator[tuple[Mapping[str, Any], Mapping[str, Any] | None, Situation]]:
        """Every printed situation in order: the rung's, then each reading's."""
        for rung in self.rungs:
            yield rung, None, self.situation(rung)
            for reading in rung["readings"]:
                yield rung, reading, self.situation(rung, reading)


Rule = Callable[[Walk], Iterator[Violation]]


def walk(
    document: Document, amplifier: Amplifier, physics: Physics, most_volts: float = 1000.0
) -> tuple[Violation, ...]:
    """Every violation of a ladder document, in the order of the rules; none for a ladder that may be printed.

    most_volts: the lower rating of meter and leads [V].
    """
    on = Walk(document, amplifier, roles(amplifier), physics, most_volts)
    return tuple(v for rule in RULES for v in rule(on))


def _say(rule: str, rung: Mapping[str, Any], reading: Mapping[str, Any] | None, text: str) -> Violation:
    return Violation(rule, str(rung["id"]), str(reading["id"]) if reading else "", text)


# ------------------------------------------------------------------------------------------ hands and probes
def hands(on: Walk) -> Iterator[Violation]:
    """Hands in only made safe; every powered rung ends made safe; ohms only unplugged."""
    for rung in on.rungs:
        powered = (
            any(on.situation(rung, r).mains_volts > 0 for r in rung["readings"]) or on.situation(rung).mains_volts > 0
        )
        safe = rung["make_safe"]
        if rung["hands_in"] and powered:
            yield _say("hands", rung, None, "hands in the chassis on a powered rung")
        if powered and not safe["needed"]:
            yield _say("hands", rung, None, "a powered rung that does not end made safe")
        if safe["needed"]:
            yield from _tool(on, rung, safe)


def _tool(on: Walk, rung: Mapping[str, Any], safe: Mapping[str, Any]) -> Iterator[Violation]:
    if safe["below_volts"] is None or safe["below_volts"] > WORKING_VOLTS:
        yield _say("hands", rung, None, f"made safe only below {safe['below_volts']} V")
    if not safe["ohms"] or not safe["watts"] or safe["watts"] < 10:
        yield _say("hands", rung, None, "no discharge resistor of at least 10 W named")
        return
    joints = list(on.physics.joints(on.situation(rung)).values())
    highest = max((abs(dc) for dc, _ in joints), default=0.0)
    if highest > TOOL_CHANGES_AT and safe["ohms"] < 22e3:
        yield _say("hands", rung, None, f"{highest:.0f} V wants a discharge resistor of 22 kohm")


def probes(on: Walk) -> Iterator[Violation]:
    """One hand only at most 60 V dc / 30 V ac, nothing higher on that socket; nothing bare-handed under power."""
    for rung, reading, at in on.every():
        if reading is None or reading["kind"] in ("look", "lamp"):
            continue
        contact = reading["contact"]
        if contact == "none" and at.mains_volts > 0:
            yield _say("probes", rung, reading, "contact none with the mains on")
        if reading["kind"] == "ohms" and at.mains_volts > 0:
            yield _say("probes", rung, reading, "ohms with the mains on")
        if contact == "bench box" and reading["red"] not in ("mains", ""):
            yield _say("probes", rung, reading, "a joint of the amplifier read at the bench box")
        if contact == "one hand":
            yield from _one_hand(on, rung, reading, at)


def _one_hand(on: Walk, rung: Mapping[str, Any], reading: Mapping[str, Any], at: Situation) -> Iterator[Violation]:
    joints = on.physics.joints(at)
    for joint in _within_slip(on.amplifier, reading):
        dc, ac = joints.get(joint, (0.0, 0.0))
        if abs(dc) > HAND_DC or abs(ac) > HAND_AC:
            yield _say("probes", rung, reading, f"one hand within a slip of {joint} at {dc:.0f} V dc, {ac:.0f} V ac")


def _within_slip(amplifier: Amplifier, reading: Mapping[str, Any]) -> set[str]:
    """The joints read, and every other pin of the sockets they are on; any inside joint where it is on no socket."""
    reached: set[str] = set()
    outside = {j for p in amplifier.of_kind("load", "input") for j in p.leads.values()}
    for end in ("red", "black"):
        joint = reading[end]
        reached.add(joint)
        if joint == "chassis" or joint in outside:
            continue
        sockets = {p.envelope for p in amplifier.parts.values() if p.envelope and joint in p.leads.values()}
        named = str(reading.get(f"{end}_at", "")).split(" pin ")[0]
        if named in sockets:
            reached |= {j for p in amplifier.parts.values() if p.envelope == named for j in p.leads.values()}
        else:
            reached |= set(amplifier.joints) - mains_joints(amplifier) - {"earth"}
    return reached


def ratings(on: Walk) -> Iterator[Violation]:
    """No reading past what meter and leads are rated for, nor on a range too small for what it expects."""
    for rung, reading, at in on.every():
        if reading is None or at.mains_volts == 0.0 or reading["kind"] not in ("dc volts", "ac volts"):
            continue
        joints = on.physics.joints(at)
        red, black = (joints.get(reading[end], (0.0, 0.0)) for end in ("red", "black"))
        volts = abs(red[0] - black[0]) if reading["kind"] == "dc volts" else abs(red[1]) + abs(black[1])
        volts = max(volts, *(abs(reading[k]) for k in ("low", "high") if isinstance(reading[k], int | float)), 0.0)
        if volts > on.most_volts:
            yield _say("ratings", rung, reading, f"{volts:.0f} V on a meter and leads for {on.most_volts:.0f} V")


def capacitors(on: Walk) -> Iterator[Violation]:
    """No printed dial past a capacitor's working volts (a cold start's peak is judged by its own reading)."""
    for rung, reading, at in on.every():
        if at.mains_volts == 0.0:
            continue
        joints = on.physics.joints(at)
        for part in on.amplifier.of_kind("capacitor"):
            if "volts" not in part.values:
                continue
            plus, minus = (joints.get(part.leads[end], (0.0, 0.0))[0] for end in ("+", "-"))
            if abs(plus - minus) > part.value("volts") * (1 + 1e-6):
                yield _say(
                    "capacitors",
                    rung,
                    reading,
                    f"{part.name} stands {abs(plus - minus):.0f} V of its {part.value('volts'):.0f} V",
                )


def dial(on: Walk) -> Iterator[Violation]:
    """No printed rung above the socket's own mains."""
    for rung, reading, at in on.every():
        if at.mains_volts > on.document["mains"] * (1 + 1e-9):
            yield _say(
                "dial", rung, reading, f"{at.mains_volts:.0f} V where the socket has {on.document['mains']:.0f} V"
            )


# ------------------------------------------------------------------------------------------ the order of things
def holds(on: Walk) -> Iterator[Violation]:
    """Mains only after a signed hold, HT only after another, every need an id of a rung that is already climbed."""
    seen: set[str] = set()
    signed = 0
    for rung in on.rungs:
        seen |= {r["id"] for r in rung["readings"]}
        for at in (on.situation(rung), *(on.situation(rung, r) for r in rung["readings"])):
            if at.mains_volts > 0 and signed < 1:
                yield _say("holds", rung, None, "mains on before the first signed hold")
            elif signed < 2 and _ht_is_on(on, at):
                yield _say("holds", rung, None, "HT on before the second signed hold")
        for need in rung["hold"]["needs"]:
            if need not in seen:
                yield _say("holds", rung, None, f"its hold needs {need}, which nobody has read yet")
        if rung["hold"]["signed"]:
            signed += 1
            if not rung["hold"]["needs"]:
                yield _say("holds", rung, None, "a signed hold that needs no reading")
    if not 3 <= signed <= 6 and on.rungs[-1]["id"] == "10":
        yield Violation("holds", "", "", f"{signed} signed holds; about five")


def _ht_is_on(on: Walk, at: Situation) -> bool:
    if at.mains_volts == 0.0:
        return False
    joints = on.physics.joints(at)
    rails = [s for s in on.roles.supplies if s.use == "ht"]
    return any(abs(joints.get(s.joint, (0.0, 0.0))[0] - joints.get(s.ret, (0.0, 0.0))[0]) > LIVE_RAIL for s in rails)


def _outputs_in(on: Walk, at: Situation) -> set[str]:
    glass = {v.valve: on.amplifier.parts[v.valve].envelope or v.valve for v in on.roles.outputs}
    return {v for v, envelope in glass.items() if envelope not in at.out} if at.mains_volts > 0 else set()


def bias_first(on: Walk) -> Iterator[Violation]:
    """Output valves only after a signed hold that needs their grids read, small valves in, at most negative."""
    proved: set[str] = set()
    by_id = {r["id"]: (rung, r) for rung in on.rungs for r in rung["readings"]}
    for rung in on.rungs:
        for reading in (None, *rung["readings"]):
            for valve in sorted(_outputs_in(on, on.situation(rung, reading)) - proved):
                yield _say("bias first", rung, reading, f"{valve} is in before its grid is proved at its most negative")
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
        if not (at.out & small) and not _outputs_in(on, at) and limited and _most_negative(on, at, part.leads["grid"]):
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
            if not _outputs_in(on, at) or at.feedback == "open":
                continue
            if at.feedback == "test":
                yield from _test_loop(on, rung, reading, at)
                continue
            for loop in liftable:
                if loop.channel not in proved and loop.link not in at.lifted:
                    yield _say("loop last", rung, reading, f"{loop.link} closed before its polarity is seen")
                    proved.add(loop.channel)
        if rung["hold"]["signed"]:
            needs = set(rung["hold"]["needs"])
            proved |= {
                r["channel"]
                for r in rung["readings"]
                if r["id"] in needs and on.situation(rung, r).feedback == "test" and r["stop_above"] is not None
            }
    fixed = [loop for loop in on.roles.loops if not loop.link]
    if fixed and not liftable:
        yield from _phased(on)


def _test_loop(
    on: Walk, rung: Mapping[str, Any], reading: Mapping[str, Any] | None, at: Situation
) -> Iterator[Violation]:
    for loop in on.roles.loops:
        if loop.link and (gain := on.physics.loop_gain(at, loop.channel)) > TEST_LOOP * 1.005:
            yield _say("loop last", rung, reading, f"loop gain {gain:.2f} with the test resistor in")


def _phased(on: Walk) -> Iterator[Violation]:
    """A loop that cannot be lifted is proved by cold phasing before any output valve is in."""
    for rung in on.rungs:
        if any(_outputs_in(on, on.situation(rung, r)) for r in (None, *rung["readings"])):
            yield _say("loop last", rung, None, "a loop that cannot be lifted, and no cold phasing before")
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
        fitted = _outputs_in(on, at)
        if fitted and at.load == "none":
            yield _say("company", rung, reading, "output valves in and no load")
        if fitted & back and back - fitted:
            yield _say("company", rung, reading, "only some of the valves that make one bias together are in")
        if _ht_is_on(on, at):
            for pair in together:
                out = {e for e in pair if e in at.out}
                if out and out != pair and fitted:
                    yield _say(
                        "company", rung, reading, f"{', '.join(sorted(str(e) for e in pair))}: one of them alone"
                    )
    yield from _one_channel_first(on)


def _one_channel_first(on: Walk) -> Iterator[Violation]:
    channels = {v.channel for v in on.roles.outputs}
    if len(channels) < 2 or any(v.bias == "back" for v in on.roles.outputs):
        return
    of = {v.valve: v.channel for v in on.roles.outputs}
    for rung, reading, at in on.every():
        fitted = {of[v] for v in _outputs_in(on, at)}
        if fitted:
            if len(fitted) > 1:
                yield _say("company", rung, reading, "output valves of two channels go in at once")
            return


def words(on: Walk) -> Iterator[Violation]:
    """Nothing printed says that something may be touched."""
    for rung in on.rungs:
        texts = [
            rung["title"],
            *rung["before"],
            *rung["cautions"],
            *rung["watch_for"],
            rung["hold"]["text"],
            rung["wait_why"],
        ]
        texts += [t for r in rung["readings"] for t in (r["what"], str(r.get("note_only") or ""))]
        for text in texts:
            if any(bad in text.lower() for bad in FORBIDDEN):
                yield _say("words", rung, None, text)


def lamp_first(on: Walk) -> Iterator[Violation]:
    """Mains, HT and the first output valves are each met with the lamp in."""
    states: tuple[tuple[str, Callable[[Situation], bool]], ...] = (
        ("the mains", lambda at: at.mains_volts > 0),
        ("HT", lambda at: _ht_is_on(on, at)),
        ("output valves", lambda at: bool(_outputs_in(on, at))),
    )
    for name, met in states:
        for rung in on.rungs:
            situations = [on.situation(rung, r) for r in rung["readings"]]
            if any(met(at) for at in (on.situation(rung), *situations)):
                if not any(at.lamp_watts for at in (on.situation(rung), *situations)):
                    yield _say("lamp first", rung, None, f"{name} met without the lamp")
                break


RULES: tuple[Rule, ...] = (
    hands,
    probes,
    ratings,
    capacitors,
    dial,
    holds,
    bias_first,
    loop_last,
    company,
    words,
    lamp_first,
)
