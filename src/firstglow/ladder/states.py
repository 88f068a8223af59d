"""Which state of a climb may follow which: a table, and nothing beside it decides.

A record is only ever written if the table has a row for it; ``POWERED`` says which events may not happen, or may only
happen, while the amplifier is powered. Neither knows a terminal, a page or a clock.
"""

from typing import Literal

State = Literal["open", "reading", "look first", "switched off", "made safe", "passed", "repeat needed"]

STATES: tuple[State, ...] = ("open", "reading", "look first", "switched off", "made safe", "passed", "repeat needed")

# What happens, in the order in which a climb meets it:
#   begin, resume    a sitting begins, or another one on the same records
#   ready            the rung's work is done, unplugged readings follow
#   counted          the work by hand for what follows is done, clips and tools are counted out: the hold point may be signed
#   power            clips and tools counted out (and where a hold point is before it, signed), then the plug goes in
#   go on, note only, look first, switch off now     a reading, by its verdict
#   stopped          the last of them on an ohms range or a look, unplugged: it does not go on, and nothing is on
#   pulled           the plug comes out for the reading that begins with it; what is charged stands on
#   skip             a reading that no gate needs is left out
#   back             the last reading does not count
#   pass, sign       the rung's readings decide its gate, or a name answers for its hold point
#   open             the next rung, or the next turn of the same, is opened
#   switch off       by hand, at any moment
#   unplugged, proved, fell, slow, discharged, again, not down    the steps of making safe
#   made safe        below 10 V, twice, on a meter proved twice
#   change, repeat   a part changed, or a rung wanted again: what was proved by then falls
VERDICTS = ("go on", "note only", "look first", "switch off now", "stopped")
SAFE_STEPS = ("unplugged", "proved", "fell", "slow", "discharged", "again", "not down")

TABLE: dict[tuple[State, str], State] = {
    ("open", "begin"): "open",
    ("open", "ready"): "reading",
    ("open", "power"): "reading",
    ("open", "counted"): "open",
    ("open", "pass"): "passed",
    ("open", "sign"): "passed",
    ("open", "change"): "repeat needed",
    ("open", "repeat"): "repeat needed",
    ("open", "back"): "open",
    ("reading", "go on"): "reading",
    ("reading", "note only"): "reading",
    ("reading", "look first"): "look first",
    ("reading", "switch off now"): "switched off",
    ("reading", "stopped"): "look first",
    ("reading", "pulled"): "reading",
    ("reading", "skip"): "reading",
    ("reading", "back"): "reading",
    ("reading", "open"): "open",
    ("reading", "counted"): "reading",
    ("reading", "pass"): "passed",
    ("reading", "sign"): "passed",
    ("reading", "change"): "repeat needed",
    ("reading", "repeat"): "repeat needed",
    ("look first", "go on"): "reading",
    ("look first", "note only"): "reading",
    ("look first", "look first"): "look first",
    ("look first", "switch off now"): "switched off",
    ("look first", "stopped"): "look first",
    ("look first", "pulled"): "look first",
    ("look first", "skip"): "reading",
    ("look first", "back"): "reading",
    ("look first", "open"): "open",
    ("look first", "change"): "repeat needed",
    ("look first", "repeat"): "repeat needed",
    **{("switched off", step): "switched off" for step in SAFE_STEPS},
    ("switched off", "made safe"): "made safe",
    ("made safe", "ready"): "reading",
    ("made safe", "power"): "reading",
    ("made safe", "counted"): "made safe",
    ("made safe", "pass"): "passed",
    ("made safe", "sign"): "passed",
    ("made safe", "back"): "made safe",
    ("made safe", "change"): "repeat needed",
    ("made safe", "repeat"): "repeat needed",
    ("passed", "open"): "open",
    ("passed", "back"): "reading",
    ("passed", "change"): "repeat needed",
    ("passed", "repeat"): "repeat needed",
    ("repeat needed", "open"): "open",
    ("repeat needed", "change"): "repeat needed",
    ("repeat needed", "repeat"): "repeat needed",
    **{(state, "mains"): state for state in STATES},
    **{(state, "meter"): state for state in STATES},
    **{(state, "resume"): state for state in STATES},
    **{(state, "void line"): state for state in STATES},
    **{(state, "switch off"): "switched off" for state in STATES},
}

# True: only while powered; False: never while powered; everything else may happen either way. Powered is from "power"
# until "made safe", not until the switch: charge stands as long as nobody has read that it does not.
POWERED: dict[str, bool] = {
    "stopped": False,
    "pulled": True,
    "ready": False,
    "counted": False,
    "power": False,
    "sign": False,
    "open": False,
    "change": False,
    "repeat": False,
}


class StateError(Exception):
    """Something that may not happen now; the message says what is the case and what may."""


def follow(state: State, event: str, powered: bool) -> State:
    """The state after an event; StateError where the table has no row for it or the power forbids it."""
    if (state, event) not in TABLE:
        allowed = ", ".join(sorted({e for s, e in TABLE if s == state}))
        raise StateError(f'"{event}" while {state}; possible now: {allowed}')
    wanted = POWERED.get(event)
    if wanted is not None and wanted != powered:
        raise StateError(f'"{event}" while the amplifier is {"powered" if powered else "not powered"}; make safe first')
    return TABLE[state, event]
