"""What empties an HT supply once it is off; and what to fit where nothing is drawn that does."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import Supply
from firstglow.ladder.unfit import most_mains
from firstglow.readings.bleeder import bleeder
from firstglow.solver.discharge import HAZARD_VOLTS, way_between, way_out
from firstglow.solver.kept import Stands, most_kept

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame


def starts(frame: "Frame", situations: Sequence[Situation]) -> dict[str, float]:
    """The highest volts on each capacitor, + minus -, over the powered situations of a rung (``solver.kept``)."""
    return most_kept(frame.amplifier, [_stands(frame, at) for at in situations if at.mains_volts > 0.0])


def _stands(frame: "Frame", at: Situation) -> Stands:
    joints = frame.physics.joints(at)

    def dc(joint: str) -> NDArray[np.float64]:
        return np.full(1, joints.get(joint, (0.0, 0.0))[0])

    def ring(red: str, black: str, _: float) -> float:
        # the same on any mains, and with cold valves in: as a reading of a switch-on has had it worked out
        plain = at.but(mains_volts=frame.volts(1.0))
        there = frame.physics.joints(plain)
        volts = there.get(red, (0.0, 0.0))[0] - there.get(black, (0.0, 0.0))[0]
        return frame.physics.ring(plain.but(out=frozenset()), red, black, volts)

    nothing_draws = frame.envelopes - frame.ht_rectifiers - frame.bias_rectifiers <= at.out
    swings = nothing_draws and any(abs(joints[s.joint][0]) > HAZARD_VOLTS for s in frame.supplies("ht"))
    return Stands(at.mains_volts, dc, ring if swings else None)


def undrained(frame: "Frame") -> frozenset[str]:
    """Joints of the HT supplies whose reservoir has no way drawn, through resistors, from its + to its -, every valve cold; of a
    doubler's two, or of several in series, none from the supply's own joint back either."""
    at, amplifier = frame.ht_only(), frame.amplifier
    return frozenset(
        s.joint
        for s in frame.supplies("ht")
        if s.reservoir and not way_out(amplifier, at, s.reservoir) and not way_between(amplifier, at, s.joint, s.ret)
    )


def fit(frame: "Frame", supply: Supply) -> str:
    """The resistor that empties it within a minute from the most that the socket may give, in words."""
    at = frame.ht_only().but(mains_volts=most_mains(frame))
    start = starts(frame, [at])
    ends = {supply.ret, supply.joint, *supply.nodes}
    parts = frame.amplifier.of_kind("capacitor")
    mine = [p.name for p in parts if set(p.leads.values()) <= ends and abs(start[p.name]) > 0.0]
    first = supply.reservoir or mine[0]
    found = bleeder(frame.amplifier, first, mine or [first], start)
    if found is None:
        return frame.words.text("finding.bleeder_none", part=first)
    each = frame.ohms_text(found.each_ohms)
    ohms = each if found.count == 1 else frame.words.text("finding.in_series", count=found.count, each=each)
    fill = {"watts": f"{found.each_watts:g}", "volts": f"{found.each_volts:.0f}", "seconds": f"{found.seconds:.0f}"}
    return frame.words.text("finding.bleeder", part=first, ohms=ohms, **fill)


def findings(frame: "Frame") -> tuple[str, ...]:
    """One line an HT supply that nothing drains."""
    return tuple(
        frame.words.text("finding.undrained", part=s.reservoir, node=s.joint, fit=fit(frame, s))
        for s in frame.supplies("ht")
        if s.joint in frame.undrained
    )
