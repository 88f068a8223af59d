"""How making safe stands, for its screen: what became of each step, and what comes when this one is done."""

import math
from collections.abc import Mapping
from datetime import datetime

from firstglow.ladder.climb import Climb, Step
from firstglow.ladder.fall import Fall
from firstglow.ladder.frame import Frame
from firstglow.ladder.here import Safing
from firstglow.ladder.safing import FALL_ASKED, MINUTE
from firstglow.records.record import Record
from firstglow.sheets.safe_screen import WRONG, SafeNow
from firstglow.solver.discharge import HAZARD_VOLTS

PASSED, OVER = "✓", "·"
TAKEN_AS = 600.0  # V: what is not known is taken as charged to that
EMPTY = 1.0  # V: to here the discharge resistor is held on
NAMED = 3  # capacitors whose figures stand in one line


def safe_now(climb: Climb, step: Step, next_: str) -> SafeNow:
    """step: a step of making safe. next_: what is read once it is over, "" for nothing."""
    ask = step.safe
    assert ask is not None
    fall, here = climb.fall, climb.here
    off = here.safing.off
    gone = (climb.clock() - datetime.fromisoformat(off)).total_seconds() if off else 0.0
    part, volts = fall.highest(gone)
    known = any(fall.start.values())
    return SafeNow(
        ask.phase, here.why_off, [(p.part, p.red, p.black) for p in ask.places], ask.seconds, part,
        volts if known else None, fall.ohms, fall.watts, fall.also, fall.wait_seconds is None, fall.plug, next_,
        done(fall, here.safing, gone), then(ask.phase, fall, here.safing, next_, ohms=_ohms_next(climb, step)),
        climb.ladder.frame.gear.variable_transformer, held(climb.ladder.frame, fall), fall.places[0].part if fall.places else "the first",
    )  # fmt: skip


def held(frame: Frame, fall: Fall) -> float:
    """How long the discharge resistor is held on a capacitor [s]: R C ln(V / 1 V) with all of them side by side, for a dropper
    between two passes charge on; whole fives, so that nobody counts too few."""
    farads = sum(frame.part(p.part).value("farads") for p in fall.places)
    volts = max((abs(v) for v in fall.start.values()), default=0.0) or TAKEN_AS
    seconds = fall.ohms * farads * math.log(max(volts, 60.0) / EMPTY)
    return 5.0 * math.ceil(max(seconds, 1.0) / 5.0)


def _ohms_next(climb: Climb, step: Step) -> bool:
    """Is ohms what is read once it is over, with the plug still out?"""
    return step.reading is not None and climb.reading(step.reading).kind == "ohms"


def done(fall: Fall, safing: Safing, gone: float) -> list[tuple[str, str]]:
    """What became of each step of making safe, and of those that are passed over, why. gone: seconds without the plug."""
    return [
        (PASSED, f"The plug is out, {gone:.0f} s ago."),
        _waited(fall),
        (PASSED, "" if safing.source is None else f"The known source read {safing.source:g} V."),
        _fell(fall, safing),
        (PASSED, f"After the resistor: {_figures(safing.discharged)}."),
        (PASSED, f"A minute later: {_figures(safing.again)}."),
    ]


def _waited(fall: Fall) -> tuple[str, str]:
    if not any(fall.start.values()):
        return OVER, "No countdown: what stands there is not known, so it is taken as charged."
    if fall.wait_seconds is None:
        return OVER, "No countdown: it does not fall by itself in ten minutes."
    if not fall.wait_seconds:
        return OVER, f"No countdown: nothing above {HAZARD_VOLTS:.0f} V stood there, by prediction."
    return PASSED, f"{fall.wait_seconds:.0f} s waited. That is a prediction: now the meter."


def _fell(fall: Fall, safing: Safing) -> tuple[str, str]:
    places = fall.falls_first(FALL_ASKED)
    first = places[0].part if places else ""
    record = safing.fell.get(first)
    if record is None and not any(fall.start.values()):
        return OVER, "No fall to read: what stood there is not known."
    if record is None:
        return OVER, f"No fall to read: under {FALL_ASKED:.0f} V stood on any capacitor, by prediction."
    volts, seconds = float(record.data["volts"]), float(record.data["seconds"])
    if record.event == "slow":
        return WRONG, f"{first} read {volts:.0f} V {seconds:.0f} s after off: IT FALLS TOO SLOWLY."
    return PASSED, f"{first} read {volts:.1f} V {seconds:.0f} s after off: as fast as it should."


def _figures(read: Mapping[str, Record]) -> str:
    """Each figure, or where they are too many for a line, how many and the highest."""
    volts = {name: float(r.data["volts"]) for name, r in read.items()}
    if len(volts) <= NAMED:
        return ", ".join(f"{name} {v:g} V" for name, v in volts.items())
    return f"{len(volts)} capacitors, {max(map(abs, volts.values())):g} V at most"


def then(phase: str, fall: Fall, safing: Safing, next_: str, *, ohms: bool = False) -> str:
    """What comes when this step is done. ohms: that is an ohms reading, which the discharge clip would be read across."""
    first = next((p.part for p in fall.falls_first(FALL_ASKED)), "")
    read = bool(first) and first not in safing.fell
    after = f"the volts on {first} before the discharge resistor goes on" if read else "the discharge resistor"
    if phase == "off":
        wait = f"{fall.wait_seconds:.0f} s of countdown, from your Enter on; then " if fall.wait_seconds else ""
        return f"{wait}the meter on a known source, and {after}."
    clip = "comes off for ohms, and on again" if ohms else "comes out last of all, before the plug goes in"
    return {
        "wait": f"only the meter step: a known source, and {after}. No leave to touch anything.",
        "prove": f"{after}.",
        "fall": "the discharge resistor, HT first, bias last.",
        "discharge": f"{MINUTE:.0f} s hands off, and each is read again.",
        "minute": "each is read again, in the same order.",
        "again": "the known source again: a meter that died since would read 0 V too.",
        "prove again": f"{next_ or 'what comes next'}. The discharge clip {clip}.",
    }[phase]
