"""A situation in words: the box at the top of a rung."""

from typing import TYPE_CHECKING

from firstglow.amplifier.situation import Situation
from firstglow.ladder.turning import set_by, turn

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame


def stands(frame: "Frame", at: Situation) -> str:
    """How the amplifier stands, in one paragraph."""
    say = frame.words.text
    parts = [_mains(frame, at), _valves(frame, at)]
    if at.lifted:
        parts.append(say("stands.lifted", links=", ".join(sorted(at.lifted))))
    if at.idle:
        parts.append(say("stands.idle", targets=set_by(frame, at)))
    elif at.pots and at.mains_volts > 0:
        parts.append(say("stands.pots", pots=_pots(frame, at)))
    if at.feedback != "closed":
        parts.append(say(f"stands.feedback_{at.feedback}", ohms=frame.ohms_text(at.test_ohms or 0.0)))
    parts += [say("stands.load", ohms=frame.ohms_text(o), place=frame.joint(j).text) for j, o in at.loads.items()]
    parts.append(say(f"stands.speaker_{at.load}"))
    return " ".join(p for p in parts if p)


def differs(frame: "Frame", rung: Situation, own: Situation) -> str:
    """What a reading's situation has of its own, in words; "" where nothing."""
    say = frame.words.text
    if own.mains_volts == 0.0 < rung.mains_volts:
        return say("stands.unplugged")
    parts = []
    if own.mains_volts != rung.mains_volts or own.lamp_watts != rung.lamp_watts:
        parts.append(_mains(frame, own, lamp_before=rung.lamp_watts))
    if own.out != rung.out:
        parts.append(_valves(frame, own))
    moved = {p: x for p, x in own.pots.items() if rung.pots.get(p) != x}
    if moved:  # a pot that no reading asks anything of any more stays where it was left
        parts.append(", ".join(f"{p} {_place(frame, x)}" for p, x in sorted(moved.items())) + ".")
    if own.idle != rung.idle:
        parts.append(say("stands.idle", targets=set_by(frame, own)) if own.idle else say("stands.idle_back"))
    if own.load != rung.load:
        parts.append(say(f"stands.speaker_{own.load}"))
    if own.switches_open - rung.switches_open:
        parts.append(say("stands.switch_off", switches=", ".join(sorted(own.switches_open - rung.switches_open))))
    if own.feedback != rung.feedback:
        parts.append(say(f"stands.feedback_{own.feedback}", ohms=frame.ohms_text(own.test_ohms or 0.0)))
    if own.stimulus_volts != rung.stimulus_volts and own.mains_volts > 0:
        parts.append(say("stands.driven", volts=frame.volts_text(own.stimulus_volts), hertz=f"{own.stimulus_hz:.0f}"))
    return " ".join(p for p in parts if p)


def powered_up(frame: "Frame", at: Situation, *, cold: bool, after_five: bool, limit: str) -> str:
    """How the plug goes in for a set-up, in words: the dial goes up from zero, but for what is read from cold.

    cold: the first seconds are read. after_five: they count from five minutes off. limit: the most that the bench's ammeter
    may show, "" where nothing is computed for it.
    """
    say, dial = frame.words.text, frame.gear.variable_transformer
    volts = f"{at.mains_volts:.0f}"
    key = ("cold_dial" if dial else "cold") if cold else ("dial_up" if dial else "plug_in")
    parts = [say(f"stands.{key}", volts=volts)]
    heaters = bool(frame.envelopes - at.out)
    parts += [say("stands.heaters")] if limit and dial and heaters and not cold else []
    # at a dial that is up already, or without one, cold heaters draw several times their current for some seconds
    at_once = "limit_warm" if heaters else "limit"
    parts += [say(f"stands.{'dial_limit' if dial and not cold else at_once}", limit=limit)] if limit else []
    parts += [say("stands.five")] if after_five else []
    return " ".join(parts)


def turned(frame: "Frame", before: Situation, now: Situation, *, unplugged: bool = False) -> str:
    """What hands do at the bench between two readings of one rung, in words; "" where nothing, or where the plug goes in or
    out between the two: what its own rung or set-up says is said there. unplugged: it is made safe between the two: the lamp is
    changed then, never under power, and the dial goes up only after the plug is in."""
    if before.mains_volts == now.mains_volts == 0.0:
        return differs(frame, before, now)
    if before.mains_volts == 0.0 or now.mains_volts == 0.0:
        return ""
    say, parts = frame.words.text, []
    if unplugged and before.lamp_watts != now.lamp_watts:
        parts.append(lamp_changed(frame, now))
    if before.mains_volts != now.mains_volts and frame.gear.variable_transformer and not unplugged:
        parts.append(say("stands.dial", volts=f"{now.mains_volts:.0f}"))
    if before.stimulus_volts and not now.stimulus_volts:
        parts.append(say("stands.input_shorted"))
        before = before.but(stimulus_volts=0.0)
    same = before.but(mains_volts=now.mains_volts, lamp_watts=now.lamp_watts)
    # an idle is set under power, by what its valve then draws: no hand's work while the plug is out
    idle = now.idle or before.idle
    dialled = turn(frame, now) if now.idle != before.idle and now.idle and not unplugged else ""
    return " ".join(p for p in (*parts, differs(frame, same.but(idle=idle), now), dialled) if p)


def lamp_changed(frame: "Frame", now: Situation) -> str:
    """The order to put this lamp into the line, or to take the one that is there out."""
    lamp = now.lamp_watts
    return frame.words.text("stands.lamp_in", watts=f"{lamp:.0f}") if lamp else frame.words.text("stands.lamp_out")


def lamp_here(frame: "Frame", now: Situation) -> str:
    """Is a lamp in the line, as a sentence of its own."""
    lamp = now.lamp_watts
    return (
        frame.words.text("stands.lamp_is_in", watts=f"{lamp:.0f}") if lamp else frame.words.text("stands.lamp_is_out")
    )


def _mains(frame: "Frame", at: Situation, lamp_before: float | None = None) -> str:
    """lamp_before: what is in the line elsewhere on the rung [W]: that it is out here is said then."""
    if at.mains_volts == 0.0:
        return frame.words.text("stands.unplugged")
    lamp = frame.words.text("stands.lamp", watts=f"{at.lamp_watts:.0f}") if at.lamp_watts else ""
    if lamp_before and not lamp:
        lamp = frame.words.text("stands.no_lamp")
    key = "stands.mains" if frame.gear.variable_transformer or at.lamp_watts is None else "stands.mains_lamp"
    return frame.words.text(key, volts=f"{at.mains_volts:.0f}", lamp=lamp)


def _valves(frame: "Frame", at: Situation) -> str:
    fitted = sorted(frame.envelopes - at.out)
    if not fitted:
        return frame.words.text("stands.all_out")
    if not at.out & frame.envelopes:
        return frame.words.text("stands.all_in")
    return frame.words.text("stands.in", fitted=", ".join(fitted), out=", ".join(sorted(at.out & frame.envelopes)))


def _pots(frame: "Frame", at: Situation) -> str:
    if dict(at.pots) == frame.negative_ends:
        return frame.words.text("stands.all_negative")
    return ", ".join(f"{p} {_place(frame, x)}" for p, x in sorted(at.pots.items()))


def _place(frame: "Frame", position: float) -> str:
    return frame.words.text({0.0: "stands.end_1", 1.0: "stands.end_2"}.get(position, "stands.middle"))
