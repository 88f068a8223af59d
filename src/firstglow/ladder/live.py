"""Which joints are live on a rung, by the highest that they come to."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Any

from firstglow.amplifier.situation import Situation
from firstglow.ladder.frame import Frame
from firstglow.ladder.make_safe import while_warming
from firstglow.ladder.places import mains_joints
from firstglow.solver.crests import free_ends, reach

LIVE_DC, LIVE_AC = 60.0, 30.0  # V dc or crest, V rms: listed from here up
# A crest is told for itself where it is further than by this from dc volts alone and from a sine about chassis alone.
MORE = 1.07


def live(frame: Frame, situations: Sequence[Situation]) -> list[dict[str, Any]]:
    """Joints that are live in any situation of a rung, the highest first: above 60 V dc, 30 V ac, on the mains, or so at
    the socket's full mains: the dial is one turn away from there (LADDER 5: live from the first turn). Every switch-on is a
    cold start: each joint is told at the highest on the way to warm. Where dc and ac stand together the crest counts."""
    worst: dict[str, tuple[float, str]] = {}
    covered = mains_joints(frame.amplifier)
    powered = [at for at in situations if at.mains_volts > 0.0]
    full = [at.but(mains_volts=max(at.mains_volts, frame.gear.mains_now)) for at in powered]
    frame.physics.prepare([*powered, *full])
    here, most = ([(at, *while_warming(frame, at)) for at in every] for every in (powered, full))
    frame.physics.prepare([at for states in (*here, *most) for at in states])
    for now, turned_up in zip(here, most, strict=True):
        told = [stands(frame, at) for at in now]
        dangerous = {joint for at in turned_up for joint, found in stands(frame, at).items() if found.live}
        dangerous |= {joint for state in told for joint, found in state.items() if found.live}
        for joint in dangerous - covered - {"earth"}:
            highest = max((state[joint] for state in told), key=lambda found: found.crest)
            if highest.crest > _crest(*worst.get(joint, (0.0, ""))):
                worst[joint] = (highest.volts, highest.kind)
        for joint in covered:
            if now[0].mains_volts > worst.get(joint, (0.0, ""))[0]:
                worst[joint] = (now[0].mains_volts, "mains")
    # a microvolt apart is the rounding of a solution: twins stand by name
    ranked = sorted(worst.items(), key=lambda item: (item[1][1] == "mains", -round(item[1][0], 6), item[0]))
    return [{"joint": joint, "volts": round(volts, 1), "kind": kind} for joint, (volts, kind) in ranked]


@dataclass(frozen=True, slots=True)
class Stands:
    """How a joint stands to chassis in one state. volts: dc, rms or crest, as ``kind`` says ("dc", "ac", "crest"). live: past
    what may be touched."""

    volts: float
    kind: str
    live: bool

    @property
    def crest(self) -> float:
        """The furthest from chassis in a cycle [V]."""
        return _crest(self.volts, self.kind)


def stands(frame: Frame, at: Situation) -> dict[str, Stands]:
    """Every joint in one state, and every lifted lead that its part brings volts to, as "D1 cathode (lifted)"."""
    joints = frame.physics.joints(at)
    ranges = reach(frame.amplifier, at, joints)
    out = {}
    for joint, (low, high) in ranges.items():
        dc, ac = (abs(volts) for volts in joints[joint])
        crest = max(abs(low), abs(high))
        live = dc > LIVE_DC or ac > LIVE_AC
        if crest > MORE * max(dc, _crest(ac, "ac")):
            out[joint] = Stands(crest, "crest", live or crest > LIVE_DC)
        else:
            out[joint] = Stands(dc, "dc", live) if dc > _crest(ac, "ac") else Stands(ac, "ac", live)
    for end in free_ends(frame.amplifier, at, ranges):
        there, crest = out[end.joint], max(abs(end.low), abs(end.high))
        if end.one_way and there.kind != "dc":
            there = Stands(crest, "crest", crest > LIVE_DC)
        elif end.one_way and crest == 0.0:
            continue
        out[f"{end.name} (lifted)"] = there
    return out


def _crest(volts: float, kind: str) -> float:
    return sqrt(2.0) * volts if kind == "ac" else volts
