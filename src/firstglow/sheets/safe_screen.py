"""The screen of making safe: what is done, what is asked now, what comes after it. 24 lines, computes no physics.

Each screen says why it follows the one before: a step that is passed over says so, and every step says what comes next.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from firstglow.sheets.climb_screen import LAW, ROWS, RULE, WIDTH, folded, top
from firstglow.sheets.figures import block

DISCHARGE = (
    "Discharge resistor {kilohms:g} kΩ (10 W{moment}; tool, clip and lead 1000 V class; its ohms read "
    "today) on each capacitor's own two ends, HT first, bias last: its clip on the - end first, then the tip on the + end, "
    "{hold:.0f} s; the meter stays on these two ends. Last it goes back on {first}, and stays. Read: below 10 V dc."
)
DIAL = " Then the dial to zero."
UNCLIP = (
    "Its clips come off by their insulated bodies, one at a time, other hand away: {left} may still stand there. Or take "
    "another meter, and prove that one."
)
# phases, and what the step is in one line
STEPS: tuple[tuple[tuple[str, ...], str], ...] = (
    (("off",), "Switch off. Plug out, and in sight."),
    (("wait",), "Wait the computed fall, hands off."),
    (("prove",), "Meter on a known source: it shows what it should."),
    (("fall",), "Read the fall, discharge resistor not on yet."),
    (("discharge",), "Each capacitor discharged, HT first, bias last: below 10 V dc."),
    (("minute", "again"), "Each again after a minute, below 10 V dc; its clip stays on {first}."),
    (("prove again",), "Meter on the known source again."),
)
WRONG = "✗"
TOOL_WATTS = 10.0  # of the discharge resistor's own rating
PENDING = "then steps {first} to 7, one at a time"
ASKS = {
    "off": "Enter when the plug is out and in sight.",
    "wait": "Waiting: at zero the meter step opens, and nothing else.",
    "prove": "Volts that the meter shows on the known source:",
    "fall": "Volts dc read there now:",
    "discharge": "Volts dc after discharge, one figure for each in this order:",
    "minute": "Waiting: charge creeps back, so each is read again after a minute.",
    "again": "Volts dc now, one figure for each in this order:",
    "prove again": "Volts that the meter shows on the known source:",
}


@dataclass(frozen=True, slots=True)
class SafeNow:
    """How making safe stands.

    phase: as ``ladder.safing`` has it. why: why it was switched off. places: (part, red, black) still to read.
    seconds: left to wait. volts: predicted now on ``highest``; None where nothing is predicted. ohms, watts: the
    discharge resistor. also: open switches and lifted links. never: it does not fall by itself. plug: capacitors
    behind its pins, with their volts. next_: what is read after it. done: (mark, what became of it) of each step
    before this one. then: what comes when this step is done. dial: is there one, left where it stood? hold: how long the
    discharge resistor is held on each capacitor [s]. first: the capacitor that its clip stays on.
    """

    phase: str
    why: str
    places: Sequence[tuple[str, str, str]]
    seconds: float
    highest: str
    volts: float | None
    ohms: float
    watts: float
    also: Sequence[str]
    never: bool
    plug: Sequence[tuple[str, float]] = ()
    next_: str = ""
    done: Sequence[tuple[str, str]] = ()
    then: str = ""
    dial: bool = False
    hold: float = 0.0
    first: str = "the first"


def safe_screen(now: SafeNow, amplifier: str, said: Sequence[str] = (), ink: str = "█") -> list[str]:
    """Making safe, one step marked. said: what the last answer meant, a stop before all; it is never pushed off the top:
    where it takes the room, the figure is small and the steps to come are one line."""
    whole = _screen(now, amplifier, said, ink, large=True, short=False)
    if len(whole) <= ROWS:
        return whole
    short = _screen(now, amplifier, said, ink, large=True, short=True)
    return short if len(short) <= ROWS else _screen(now, amplifier, said, ink, large=False, short=True)


def _screen(now: SafeNow, amplifier: str, said: Sequence[str], ink: str, *, large: bool, short: bool) -> list[str]:
    lines = [*said, *top(amplifier, "MAKE SAFE")]
    if now.why and not (short and said):
        lines += folded("WHY", now.why)
    lines += _steps(now, short=short)
    if now.phase in ("off", "wait", "minute"):
        lines += _falling(now, ink, large=large)
    else:
        lines += _to_read(now)
    if now.also and now.phase in ("discharge", "again"):
        lines += folded("", f"On both sides of: {', '.join(now.also)}.")
    if now.phase == "prove":
        left = f"{now.volts:.0f} V by prediction" if now.volts is not None else "volts that nobody knows"
        lines += folded("", UNCLIP.format(left=left))
    if now.plug and now.phase in ("off", "wait"):
        parts = ", ".join(part for part, _ in now.plug)
        most = max(volts for _, volts in now.plug)
        lines += folded("PLUG", f"its pins may keep {most:.0f} V from {parts}: they touch nothing and nobody.")
    lines += folded("THEN", now.then) if now.then else []
    if now.next_ and now.phase == "off":
        lines += folded("AFTER", f"{now.next_}.")
    return [*lines, RULE, LAW, ASKS[now.phase]]


def _steps(now: SafeNow, *, short: bool) -> list[str]:
    """The steps: those done with what became of them (short: the last, and what went wrong), the one asked in full, those to
    come in a line each or (short) in one."""
    lines = []
    at = next(n for n, (phases, _) in enumerate(STEPS) if now.phase in phases)
    for n, (_, text) in enumerate(STEPS):
        if n < at:
            mark, became = now.done[n] if n < len(now.done) else ("✓", text)
            if not short or n == at - 1 or mark == WRONG:
                lines.append(f" {mark} {n + 1}.    {became}"[:WIDTH])
        elif n == at:
            full = _discharge(now) if now.phase == "discharge" else text + (DIAL if now.dial and not n else "")
            full = full.format(first=now.first)
            lines += folded(f" ▶ {n + 1}.", full)
        elif not short:
            lines.append(f"   {n + 1}.    {text.format(first=now.first)}"[:WIDTH])
    pending = short and at + 2 < len(STEPS)
    return [*lines, *folded("", PENDING.format(first=at + 2))] if pending else lines


def _discharge(now: SafeNow) -> str:
    moment = f", {now.watts:.0f} W for a moment" if now.watts > TOOL_WATTS else ""
    return DISCHARGE.format(kilohms=now.ohms / 1e3, moment=moment, hold=now.hold, first=now.first)


def _falling(now: SafeNow, ink: str, *, large: bool) -> list[str]:
    if now.phase == "minute":
        return _figure(f"{now.seconds:.0f}", "s", ink, large=large)
    if now.volts is None:
        return folded("", "Nothing is known of what stands on its capacitors: every one is taken as charged.")
    lines = _figure(f"{now.volts:.0f}", "V", ink, large=large)
    text = f"on {now.highest}, predicted, falling by itself"
    if now.phase == "wait":
        text += f"; {now.seconds:.0f} s until every one is below 60 V"
    if now.never:
        text += "; it does not fall by itself in ten minutes: only the resistor brings it down"
    return [*lines, *folded("", f"{text}. A prediction, never a reading.")]


def _figure(text: str, unit: str, ink: str, *, large: bool) -> list[str]:
    return [" " * 9 + t for t in block(f"{text} {unit}", ink)] if large else [f"{'':<9}{text} {unit}"]


def _to_read(now: SafeNow) -> list[str]:
    lines = []
    for part, red, black in now.places:
        lines += folded("READ", f"{part}: red on {red}, black on {black}")
    return lines
