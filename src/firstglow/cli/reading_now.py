"""What stands around the reading that is asked: what is done at the bench for it, what is waited for, what it is held beside."""

from datetime import datetime

from firstglow.cli.clips_now import ammeter_limit
from firstglow.ladder.climb import Climb, Step
from firstglow.ladder.judging import ratio_to
from firstglow.ladder.safing import Phase
from firstglow.ladder.sides import others
from firstglow.ladder.stands import lamp_changed, powered_up, turned
from firstglow.ladder.states import VERDICTS
from firstglow.ladder.turning import turn
from firstglow.ladder.waits import begins_with_the_plug, powered_for, still_advised
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.learn import Learned
from firstglow.sheets.climb_screen import SIGNS, wrapped
from firstglow.sheets.rows import limit_word, moved_by_text

BESIDE = 2  # readings of the other side that are told beside one
SAFE_WHY: dict[Phase, str] = {
    "off": "A plug in sight is the one switch that nobody else turns on; a dial at zero is for the next time.",
    "wait": "By prediction everything is below 60 V at zero; only a meter can say so.",
    "prove": "A dead meter shows 0 V everywhere: it is proved before it is believed.",
    "fall": "A fall half as fast as computed is an open bleeder, or the wrong joint: seen before anybody counts on it.",
    "discharge": "What falls by itself stops short of nothing: the resistor brings it down, HT before bias, for hot output "
    "valves need their bias as long as HT stands.",
    "minute": "Charge creeps back out of a capacitor within a minute.",
    "again": "Charge creeps back out of a capacitor within a minute: only the second figure counts.",
    "prove again": "A meter that died since would have read 0 V too.",
}


def now(climb: Climb, reading: ExpectedReading, *, own: bool) -> str:
    """What is done at the bench for a reading: the plug goes in and the dial up for the first of a set-up under power.

    own: does it stand otherwise than its rung?
    """
    at, probe = reading.planned.situation, reading.planned.probe
    mine = climb.rung(reading.rung).planned.readings
    limit = ammeter_limit(climb, reading)
    begun = any(r.at >= climb.here.since for r in climb.here.taken.values()) or climb.here.tried is not None
    if climb.here.pulled and begins_with_the_plug(reading.planned):
        return "The plug is out, and stays out: hands off. What the meter shows at zero is typed."
    if climb.here.powered and not begun:
        off = reading.planned.off_seconds
        up = powered_up(
            climb.ladder.frame, at, cold=bool(off), after_five=bool(off) and probe.kind == "look", limit=limit
        )
        if begins_with_the_plug(reading.planned):
            return f"{up} A minute to warm; then {_fall(climb, probe.seconds)}"
        return " ".join(t for t in (up, _presets(climb, reading), _divided(climb, reading)) if t)
    if begins_with_the_plug(reading.planned):
        return _fall(climb, probe.seconds)
    divided = _divided(climb, reading)
    if climb.here.powered and climb.stage(climb.here.stage).readings[0] == reading.id:
        # what changed before it was done on its card, with the plug out, but for what is turned under power
        return " ".join(t for t in (_presets(climb, reading), divided) if t)
    number = [r.id for r in mine].index(reading.id)
    raised = number and mine[number - 1].situation.mains_volts < at.mains_volts
    text = _presets(climb, reading) if own and not raised else done_since(climb, reading.id)
    past = climb.ladder.frame.words.text("stands.dial_limit", limit=limit) if raised and limit else ""
    return " ".join(t for t in (text, past, divided) if t)


def done_since(climb: Climb, name: str, *, unplugged: bool = False) -> str:
    """What is done at the bench since the reading before it on its rung: the lamp taken out is an instruction of its own."""
    ids, frame = climb.ladder.expected.by_id, climb.ladder.frame
    if name not in ids:
        return ""
    here = ids[name].planned.situation
    rung = [r.id for r in climb.rung(ids[name].rung).readings]
    at = rung.index(name)
    before = ids[rung[at - 1]].planned.situation if at else here
    if not unplugged:
        return turned(frame, before, here)
    # the lamp is what the last power had in the line, on whatever rung: not what the row above this one wants
    lamp = lamp_changed(frame, here) if climb.lamp_changes(here) else ""
    rest = turned(frame, before.but(lamp_watts=here.lamp_watts), here, unplugged=True)
    return " ".join(t for t in (lamp, rest) if t)


def _presets(climb: Climb, reading: ExpectedReading) -> str:
    """Which presets are turned, until what, where this reading's idle is not that of the reading before it, on whatever rung."""
    at, every = reading.planned.situation, [r for rung in climb.ladder.expected.rungs for r in rung.readings]
    number = [r.id for r in every].index(reading.id)
    before = every[number - 1].planned.situation.idle if number else {}
    return turn(climb.ladder.frame, at) if at.idle and at.idle != before else ""


def _fall(climb: Climb, seconds: float) -> str:
    """The one reading that begins with the plug."""
    dial = ", then the dial to zero" if climb.ladder.frame.gear.variable_transformer else ""
    return f"SWITCH OFF AND PULL THE PLUG, in sight; type out that moment{dial}. Read {seconds:.0f} s later, hands off."


def _divided(climb: Climb, reading: ExpectedReading) -> str:
    """A reading in proportion to an earlier one: the volts are typed, and by what they are divided."""
    other = ratio_to(climb.ladder, climb.here, reading.id)
    if other is None or not isinstance(reading.expected, float):
        return ""
    volts = float(climb.here.taken[other].data["si"])
    of = climb.ladder.expected.by_id[other]
    example = of.text(reading.expected * volts).replace(" ", "")
    return f"Type the volts with their unit ({example} is as expected): they are divided by the {of.text(volts)} of rung {of.rung}."


def beside(climb: Climb, reading: ExpectedReading) -> str:
    """What the same point read on the other side (the other channel, valve of the pair, leg) or minutes before it."""
    by_id, taken, planned = climb.ladder.expected.by_id, climb.here.taken, reading.planned
    told = []
    for name in others(climb.ladder, reading.id):
        record = taken.get(name)
        if record is not None:
            side = by_id[name].planned
            differ = side.channel != planned.channel and side.channel not in (None, "", "shared")
            told.append(f"{side.channel if differ and name == planned.twin else side.what} read {record.value}")
    rows = climb.rung(reading.rung).readings
    earlier = rows[: [r.id for r in rows].index(reading.id)]
    last = next((r for r in reversed(earlier) if r.id in taken and _same_point(r, reading)), None)
    told += [f"{last.planned.what} read {taken[last.id].value}"] if last is not None else []
    return "; ".join(told[:BESIDE])


def _same_point(one: ExpectedReading, two: ExpectedReading) -> bool:
    a, b = one.planned, two.planned
    return (a.probe, a.situation) == (b.probe, b.situation) and a.under_power and a.probe.kind not in ("look", "lamp")


def mains(climb: Climb, name: str) -> tuple[str, str]:
    """(which mains its figures are for, what is typed for other ones): "at your 248 V of mains", "mains 248"."""
    sheet, volts = climb.ladder.expected.by_id[name], climb.mains_now(name)
    typed = volts or sheet.planned.situation.mains_volts or climb.ladder.expected.mains
    why = climb.unjudged(name)
    told = f"not judged: {why}" if why else f"at your {typed:.0f} V of mains" if volts and sheet.mains_curve else ""
    return told, f"mains {typed:.0f}"


def wait(climb: Climb, step: Step) -> str:
    """What is still waited for before this reading, and when it is to be switched off for one."""
    name = step.reading or ""
    known = climb.ladder.expected.by_id[name]
    planned = known.planned
    if known.hidden and climb.here.meter is None:
        return "type: meter digital (then this is read with it); meter and its old name afterwards"
    warm, fall = climb.to_pull(name), climb.to_fall(name)
    if warm:
        return f"{minutes(warm)} yet before the plug comes out: warm first"
    if fall:
        return f"{fall:.0f} s yet; read it at zero"
    own = climb.to_settle(name)
    if own > 0.0 and planned.off_seconds:
        at_once = "; a no is taken at once" if planned.probe.kind == "look" else ""
        return f"{minutes(own)} off yet, its switch stays off; then ON from cold{at_once}"
    if own > 0.0:
        at_once = "no is taken at once" if planned.probe.kind == "look" else "past its stop it is told at once"
        return f"{minutes(own)} yet before this one counts; {at_once}"
    return still_warming(climb, step)


def left(climb: Climb, step: Step) -> float:
    """Seconds of that which run down by themselves [s], 0 for none: what a terminal draws again each second."""
    name = step.reading or ""
    if step.kind != "reading" or not climb.here.powered:
        return 0.0
    return max(climb.to_pull(name) or 0.0, climb.to_fall(name) or 0.0, climb.to_settle(name), _advised(climb, step)[0])


def minutes(seconds: float) -> str:
    """``4 min 05 s``."""
    return f"{seconds // 60:.0f} min {seconds % 60:02.0f} s"


def still_warming(climb: Climb, step: Step) -> str:
    """What is still advised to be waited for, "" where nothing is."""
    seconds, why = _advised(climb, step)
    if not seconds:
        return ""
    cold = climb.cold_past_its_stop(step.reading or "")
    known = climb.ladder.expected.by_id[step.reading or ""]
    stands = f"; cold it may show {known.text(cold)}: its stop is for warm valves" if cold is not None else ""
    return f"{minutes(seconds)} yet: {why}{stands}"


def _advised(climb: Climb, step: Step) -> tuple[float, str]:
    planned = climb.ladder.expected.by_id[step.reading or ""].planned
    if not climb.here.powered or not climb.here.since:
        return 0.0, ""
    moment, rung = climb.clock(), climb.rung(step.rung).planned
    gone = (moment - datetime.fromisoformat(climb.here.since)).total_seconds()
    in_all = powered_for(climb.events, step.rung, moment)
    return still_advised(climb.ladder.frame, rung, planned, gone, in_all)


def remark(known: Learned, sheet: ExpectedReading) -> str:
    """The remark of a row beside a learned band: what it says of the sheet's band has that band's figures."""
    text = str(known.reading.json()["remark"])
    low, high = sheet.passing
    if not known.grounds or low is None or high is None:
        return text
    return text.replace("inside the sheet's band", f"inside the sheet's {sheet.text(low)} to {sheet.text(high)}")


def why(climb: Climb, step: Step, live: list[str]) -> list[str]:
    """What moves a reading, its limits, and what to check first. live: the rung's live joints, in words."""
    if step.reading is None or step.kind != "reading":
        return why_here(climb, step)
    reading = climb.reading(step.reading)
    moved = ", ".join(f"{moved_by_text(part)} ({100 * share:.0f} %)" for part, share in reading.moved_by)
    lines = [f"Moved most by: {moved}." if moved else "No single part moves it."]
    stops = [s for s in (reading.stop_below, reading.stop_above) if s]
    word = "Switch off" if reading.planned.under_power else "It stays unplugged"
    lines += [
        f"{word} {limit_word(s.limit, below=s is reading.stop_below)} {reading.text(s.limit)}: {s.why}." for s in stops
    ]
    lines += [f"Band and limit overlap: {s.separate}." for s in stops if s.separate]
    checks = "; ".join(reading.planned.check_first)
    lines += [f"If it is off, check first: {checks}."] if checks else []
    lines += [f"Live on this rung: {', '.join(live)}."] if live and reading.planned.situation.mains_volts > 0.0 else []
    noted = reading.note_only or reading.planned.note_only
    return [*lines, noted] if noted else lines


def left_doubted(climb: Climb) -> list[str]:
    """The answer on which the last sitting ended, where it did not count: what stood past its stop stands there still. Nothing
    in a first sitting, and once something was changed or read since."""
    events = climb.events
    last = next((r for r in reversed(events) if r.event in (*VERDICTS, "change", "repeat", "back", "skip")), None)
    if last is None or last.reading is None or last.verdict not in ("look first", "switch off now"):
        return []
    if (
        not any(r.event == "resume" for r in events[events.index(last) :])
        or last.reading not in climb.ladder.expected.by_id
    ):
        return []
    past = last.verdict == "switch off now"
    head = f"{SIGNS[last.verdict]} {'Past its stop' if past else 'Not right'} when the last sitting ended"
    end = "It does not go on until this reads right."
    return wrapped(f"{head}: {climb.called(last.reading)}, {last.value}: {last.why}. {end}")


def why_here(climb: Climb, step: Step) -> list[str]:
    """Why what is asked is no reading: making safe, a card, a hold point."""
    off = f"Switched off: {climb.here.why_off}." if climb.here.why_off and step.kind == "make safe" else ""
    if step.safe is not None:
        return [t for t in (SAFE_WHY.get(step.safe.phase, ""), off) if t]
    if step.kind == "hold":
        return ["Five times somebody answers by name for what power comes next; the readings alone do not."]
    return ["What stands here is done with the plug out, because hands, clips and valves are moved for it."]
