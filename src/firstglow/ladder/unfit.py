"""Capacitors that cannot stand what full mains puts on them, in plain words: which part, at which volts, what to fit."""

from collections.abc import Mapping
from math import ceil
from typing import TYPE_CHECKING

from firstglow.amplifier.model import Part
from firstglow.amplifier.roles_ends import OVER_MARK, is_safety, marked_as
from firstglow.ladder.dials import Ceiling, high, stands
from firstglow.readings.rated import sold_volts

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

TOOL_VOLTS = 1000.0
"""Discharge tool, clips and leads are of the 1000 V class (IEC 61243-3, IEC 61010-031: ordinary ones end there; from memory)."""


def findings(frame: "Frame") -> tuple[str, ...]:
    """One line a capacitor: unfit at today's mains, else unfit at the most the socket may give."""
    found = frame.dials.unfit
    lines = [_unfit(frame, part, at) for part, at in found.items()]
    return tuple(_beyond(frame)) + tuple(lines) + tuple(_at_high_mains(frame, set(found)))


def _beyond(frame: "Frame") -> list[str]:
    """A line where more stands than the tools that every page names are made for."""
    joints = frame.physics.joints(frame.ht_only())
    volts = max((abs(dc) for dc, _ in joints.values()), default=0.0) * most_mains(frame) / frame.gear.mains_now
    return [frame.words.text("finding.beyond", volts=f"{volts:.0f}")] if volts > TOOL_VOLTS else []


def ends_text(frame: "Frame", worst: Ceiling) -> str:
    """Why no rung follows."""
    at = frame.dials.unfit.get(worst.part or "", {})
    return frame.words.text("rung.note.ends", **_fill(frame, worst), state=_state(frame, next(iter(at), "4")))


def only_to(frame: "Frame") -> str:
    """What a hold adds where HT is let in only below full mains; "" where it is not."""
    first = frame.dials.ceilings["4"]
    if first.part is None or frame.dials.stops_after in ("2a", "3"):
        return ""
    volts = int(first.dial * frame.gear.mains_now)
    return " " + frame.words.text(
        "finding.only_to", part=first.part, rating=marked_as(frame.part(first.part)), dial=volts
    )


def most_mains(frame: "Frame") -> float:
    """The most that the socket may give [V rms]: the file's nominal and its spread (EN 50160: +10 %), or today's."""
    return max(frame.gear.mains_now, frame.amplifier.mains_volts * (1.0 + frame.amplifier.mains_spread))


def _unfit(frame: "Frame", part: str, at: Mapping[str, Ceiling]) -> str:
    worst = max(at.values(), key=lambda c: c.volts)
    dials = frame.dials
    if dials.stops_after in ("2a", "3"):
        until = frame.words.text("finding.no_dial", rung=dials.stops_after)
    elif dials.ceilings["4"].part is not None:
        until = frame.words.text("finding.dial", dial=int(dials.dial["4"] * frame.gear.mains_now), rung=_last(frame))
    else:
        until = frame.words.text("finding.until", rung=_last(frame))
    return frame.words.text("finding.unfit", **_fill(frame, worst), state=_states(frame, at), until=until)


def _last(frame: "Frame") -> str:
    """The last rung that may follow; without a loop to lift there is no rung 8."""
    last = frame.dials.stops_after
    return "7" if last == "8" and not frame.liftable else last


def _states(frame: "Frame", at: Mapping[str, Ceiling]) -> str:
    """The state that is the worst, and every other that passes the rating too, with its volts."""
    most: dict[str, float] = {}
    for rung, here in at.items():
        state = _state(frame, rung)
        most[state] = max(most.get(state, 0.0), here.volts)
    (worst, _), *others = sorted(most.items(), key=lambda pair: -pair[1])
    also = "; ".join(f"{volts:.0f} V {state}" for state, volts in others)
    return f"{worst} (and {also})" if also else worst


def _at_high_mains(frame: "Frame", known: set[str]) -> list[str]:
    most = most_mains(frame)
    up = most / frame.gear.mains_now
    lines = []
    joints = [frame.physics.joints(at) for at in (frame.alone(), frame.ht_only())]
    for name, rating in frame.rated.items():
        leads = frame.part(name).leads
        volts = max(stands(frame, name, at) if _there(at, leads) else 0.0 for at in joints)
        if name in known or volts * up * high(frame, name) <= rating:
            continue
        here = Ceiling(1.0, name, volts, rating, volts * high(frame, name))
        fill = _fill(frame, here) | {"most": f"{volts * up * high(frame, name):.0f}", "mains_most": f"{most:.0f}"}
        lines.append(frame.words.text("finding.high_mains", **fill, state=_state(frame, "4")))
    return lines


def _there(joints: Mapping[str, tuple[float, float]], leads: Mapping[str, str]) -> bool:
    return leads["+"] in joints and leads["-"] in joints


def _fill(frame: "Frame", here: Ceiling) -> dict[str, object]:
    part = frame.part(here.part or "")
    return {
        "part": part.name,
        "rating": marked_as(part),
        "volts": f"{here.volts:.0f}",
        "high": f"{here.high:.0f}",
        "mains": f"{frame.gear.mains_now:.0f}",
        "need": _need(frame, part, here),
    }


def _need(frame: "Frame", part: Part, here: Ceiling) -> str:
    """What to fit in its place."""
    need = here.high * most_mains(frame) / frame.gear.mains_now
    figures = {"need_volts": f"{need:.0f}", "mains_most": f"{most_mains(frame):.0f}"}
    if is_safety(part.type):
        volts = sold_volts(need / OVER_MARK, "safety")
        return frame.words.text("finding.fit_class", kind=part.type, volts=f"{volts or need:g}", **figures)
    sold = sold_volts(need, part.type or "")
    key = "finding.fit" if sold else "finding.fit_two"
    return frame.words.text(key, volts=f"{sold or 10.0 * ceil(need / 10.0):g}", **figures)


def _state(frame: "Frame", rung: str) -> str:
    key = {"2b": "bias", "3": "bias", "4": "ht", "5": "small"}.get(rung, "output")
    return frame.words.text(f"finding.state_{key}")
