"""The foot of every rung: off, unplug, wait the computed fall, discharge, below 10 V. And what is live before that."""

from dataclasses import dataclass
from math import ceil, isfinite
from typing import Any

from firstglow.amplifier.situation import Situation
from firstglow.ladder.frame import Frame
from firstglow.ladder.places import mains_joints
from firstglow.ladder.rung_cold import large_capacitors
from firstglow.solver.discharge import WORKING_VOLTS, Tool, discharge, tool_ohms

TOOL_WATTS = 10.0  # W, wirewound (common practice)
LIVE_DC, LIVE_AC = 60.0, 30.0  # V, V rms: listed from here up
NEVER = 600.0  # s: nobody waits longer: "it does not fall by itself"


@dataclass(frozen=True, slots=True)
class MakeSafe:
    """What the foot says.

    wait_seconds: until every capacitor is below 60 V by itself, slow by tolerance; None where that takes over ten
        minutes. ohms, watts: the discharge tool. tool_seconds: with it on the largest, until below 10 V.
    order: capacitors in the order they are discharged, the bias last.
    """

    needed: bool
    wait_seconds: float | None = None
    ohms: float | None = None
    watts: float | None = None
    below_volts: float | None = None
    tool_seconds: float | None = None
    order: tuple[str, ...] = ()

    def json(self) -> dict[str, Any]:
        """As CONTRACTS.md names it, and two keys more."""
        return {
            "needed": self.needed,
            "wait_seconds": self.wait_seconds,
            "ohms": self.ohms,
            "watts": self.watts,
            "below_volts": self.below_volts,
            "tool_seconds": self.tool_seconds,
            "order": list(self.order),
        }


def make_safe(frame: Frame, situations: list[Situation]) -> MakeSafe:
    """From the highest volts that a rung's situations leave on each capacitor."""
    powered = [at for at in situations if at.mains_volts > 0]
    if not powered:
        return MakeSafe(False)
    start: dict[str, float] = {}
    for at in powered:
        joints = frame.physics.joints(at)
        for part in frame.amplifier.of_kind("capacitor"):
            plus, minus = (joints.get(part.leads[end], (0.0, 0.0))[0] for end in ("+", "-"))
            if abs(plus - minus) >= abs(start.get(part.name, 0.0)):
                start[part.name] = plus - minus
    at = powered[-1]
    slow = discharge(frame.amplifier, at, start, high=True)
    seconds = max((float(c.below_60_s.max()) for c in slow.capacitors), default=0.0)
    highest = max((abs(v) for v in start.values()), default=0.0)
    ohms = tool_ohms(highest)
    return MakeSafe(
        True,
        _rounded(seconds),
        ohms,
        TOOL_WATTS,
        WORKING_VOLTS,
        _with_tool(frame, at, start, ohms),
        _order(frame, start),
    )


def _rounded(seconds: float) -> float | None:
    """Up to whole 5 s; at least 5; None for never."""
    return None if not isfinite(seconds) or seconds > NEVER else max(5.0, 5.0 * ceil(seconds / 5.0))


def _with_tool(frame: Frame, at: Situation, start: dict[str, float], ohms: float) -> float | None:
    """Seconds until the largest store is below 10 V with the tool across it."""
    if not start:
        return None
    largest = max(start, key=lambda name: frame.part(name).value("farads") * start[name] ** 2)
    leads = frame.part(largest).leads
    found = discharge(frame.amplifier, at, start, high=True, tool=Tool(leads["+"], leads["-"], ohms))
    return _rounded(float(found.of(largest).below_10_s.max()))


def _order(frame: Frame, start: dict[str, float]) -> tuple[str, ...]:
    """Reservoirs, then every other large capacitor above 10 V by its volts, the bias supplies' last."""
    large = {p.name for p in large_capacitors(frame)}
    charged = [name for name, volts in start.items() if name in large and abs(volts) > WORKING_VOLTS]
    first = {s.reservoir for s in frame.supplies("ht")}
    last = {c for s in frame.negatives for n in (s.joint, *s.nodes) for c in frame.capacitors_on(n, s.ret)}
    return tuple(sorted(charged, key=lambda c: (c in last, c not in first, -abs(start[c]), c)))


def live(frame: Frame, situations: list[Situation]) -> list[dict[str, Any]]:
    """Joints above 60 V dc, 30 V ac or on the mains, in any situation of a rung; the highest first."""
    worst: dict[str, tuple[float, str]] = {}
    covered = mains_joints(frame.amplifier)
    for at in situations:
        if at.mains_volts == 0.0:
            continue
        for joint, (dc, ac) in frame.physics.joints(at).items():
            if joint in covered or joint == "earth":
                continue
            for volts, kind, limit in ((abs(dc), "dc", LIVE_DC), (abs(ac), "ac", LIVE_AC)):
                if volts > limit and volts > worst.get(joint, (0.0, ""))[0]:
                    worst[joint] = (volts, kind)
        for joint in covered:
            if at.mains_volts > worst.get(joint, (0.0, ""))[0]:
                worst[joint] = (at.mains_volts, "mains")
    ranked = sorted(worst.items(), key=lambda item: (item[1][1] == "mains", -item[1][0], item[0]))
    return [{"joint": joint, "volts": round(volts, 1), "kind": kind} for joint, (volts, kind) in ranked]
