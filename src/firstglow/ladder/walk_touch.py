"""Rules of the safety walk for each step by itself: hands, probes, ratings, the dial, and what is said."""

from collections.abc import Iterator, Mapping
from typing import Any

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.ladder.places import mains_joints
from firstglow.ladder.walk_step import Violation, Walk, say

# The trade's limits again, written out on their own: a slip in the plan's constants must not pass here too.
HAND_DC, HAND_AC = 60.0, 30.0  # V, V rms
WORKING_VOLTS = 10.0  # V before hands go in
TOOL_CHANGES_AT = 600.0  # V peak: 10 kohm below, 22 kohm above
FORBIDDEN = ("safe to touch",)


def hands(on: Walk) -> Iterator[Violation]:
    """Hands in only made safe; every powered rung ends made safe; ohms only unplugged."""
    for rung in on.rungs:
        powered = (
            any(on.situation(rung, r).mains_volts > 0 for r in rung["readings"]) or on.situation(rung).mains_volts > 0
        )
        safe = rung["make_safe"]
        if rung["hands_in"] and powered:
            yield say("hands", rung, None, "hands in the chassis on a powered rung")
        if powered and not safe["needed"]:
            yield say("hands", rung, None, "a powered rung that does not end made safe")
        if safe["needed"]:
            yield from _tool(on, rung, safe)


def _tool(on: Walk, rung: Mapping[str, Any], safe: Mapping[str, Any]) -> Iterator[Violation]:
    if safe["below_volts"] is None or safe["below_volts"] > WORKING_VOLTS:
        yield say("hands", rung, None, f"made safe only below {safe['below_volts']} V")
    if not safe["ohms"] or not safe["watts"] or safe["watts"] < 10:
        yield say("hands", rung, None, "no discharge resistor of at least 10 W named")
        return
    joints = list(on.physics.joints(on.situation(rung)).values())
    highest = max((abs(dc) for dc, _ in joints), default=0.0)
    if highest > TOOL_CHANGES_AT and safe["ohms"] < 22e3:
        yield say("hands", rung, None, f"{highest:.0f} V wants a discharge resistor of 22 kohm")


def probes(on: Walk) -> Iterator[Violation]:
    """One hand only at most 60 V dc / 30 V ac, nothing higher on that socket; nothing bare-handed under power."""
    for rung, reading, at in on.every():
        if reading is None or reading["kind"] in ("look", "lamp"):
            continue
        contact = reading["contact"]
        if contact == "none" and at.mains_volts > 0:
            yield say("probes", rung, reading, "contact none with the mains on")
        if reading["kind"] == "ohms" and at.mains_volts > 0:
            yield say("probes", rung, reading, "ohms with the mains on")
        if contact == "bench box" and reading["red"] not in ("mains", ""):
            yield say("probes", rung, reading, "a joint of the amplifier read at the bench box")
        if contact == "one hand":
            yield from _one_hand(on, rung, reading, at)


def _one_hand(on: Walk, rung: Mapping[str, Any], reading: Mapping[str, Any], at: Situation) -> Iterator[Violation]:
    joints = on.physics.joints(at)
    for joint in _within_slip(on.amplifier, reading):
        dc, ac = joints.get(joint, (0.0, 0.0))
        if abs(dc) > HAND_DC or abs(ac) > HAND_AC:
            yield say("probes", rung, reading, f"one hand within a slip of {joint} at {dc:.0f} V dc, {ac:.0f} V ac")


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
            yield say("ratings", rung, reading, f"{volts:.0f} V on a meter and leads for {on.most_volts:.0f} V")


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
                yield say(
                    "capacitors",
                    rung,
                    reading,
                    f"{part.name} stands {abs(plus - minus):.0f} V of its {part.value('volts'):.0f} V",
                )


def dial(on: Walk) -> Iterator[Violation]:
    """No printed rung above the socket's own mains."""
    for rung, reading, at in on.every():
        if at.mains_volts > on.document["mains"] * (1 + 1e-9):
            yield say(
                "dial", rung, reading, f"{at.mains_volts:.0f} V where the socket has {on.document['mains']:.0f} V"
            )


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
                yield say("words", rung, None, text)
