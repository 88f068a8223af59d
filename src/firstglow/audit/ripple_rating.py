"""A capacitor's ripple rating: sheets give it at 100 or 120 Hz, and a capacitor that is charged once in a mains cycle meets 50 or 60."""

from firstglow.amplifier.model import Part
from firstglow.audit.ways import Stood
from firstglow.quantities import show

RIPPLE_SHARE = 0.7
"""Part of its ripple rating that a capacitor takes at idle: full power asks more (common practice)."""
ONCE_SHARE = 0.8
"""What counts at 50 or 60 Hz of a rating for 100 or 120 Hz: an electrolytic's series resistance is higher there (makers' tables of
frequency multipliers, 0.75 to 0.85; from memory)."""


def ripple_hertz(stood: Stood, part: Part) -> float:
    """What its ripple repeats at [Hz]: the mains behind a half wave and in a doubler, each of whose capacitors is charged by one half
    cycle, else twice the mains (a bridge whose middle is the winding's tap among them)."""
    mains, joints = stood.amplifier.mains_hz, set(part.leads.values())
    for s in stood.roles.supplies:
        if s.form == "half wave" and (part.name in s.reservoirs or joints & {s.joint, *s.nodes}):
            return mains
        # across both of a full-wave doubler's the halves come by turns
        whole = s.form == "full-wave doubler" and joints == {s.joint, s.ret}
        if s.middle is not None and not s.split and part.name in s.reservoirs and not whole:
            return mains
    return 2.0 * mains


def ripple_share(stood: Stood, part: Part) -> float:
    """What of its sheet's rating counts there."""
    return ONCE_SHARE if ripple_hertz(stood, part) <= stood.amplifier.mains_hz else 1.0


def ripple_wanted(stood: Stood, part: Part, amps: float) -> float:
    """What a sheet must say, at 100 or 120 Hz, of one that takes so much at idle [A rms]."""
    return amps / RIPPLE_SHARE / ripple_share(stood, part)


def ripple_text(amps: float, hertz: float, once: bool) -> str:
    """An order's words for what a sheet must say. hertz: of what flows there."""
    if not once:
        return f"ripple {show(amps, 'A')} rms or more: at idle it takes {100 * RIPPLE_SHARE:.0f} % of that, at {hertz:g} Hz"
    takes = f"{show(RIPPLE_SHARE * ONCE_SHARE * amps, 'A')} at {hertz:g} Hz"
    counts = f"where {100 * ONCE_SHARE:.0f} % of the sheet's figure count (from memory)"
    return f"ripple {show(amps, 'A')} rms or more by its sheet, at 100 or 120 Hz: at idle it takes {takes}, {counts}"
