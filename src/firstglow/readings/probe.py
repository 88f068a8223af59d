"""What is asked of a meter, before any number is known: the plan that the ladder makes and the readings fill in."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from firstglow.amplifier.situation import Situation

Kind = Literal["dc volts", "ac volts", "ohms", "dc amps", "ac amps", "lamp", "look"]
Contact = Literal["none", "bench box", "clip", "one hand"]


@dataclass(frozen=True, slots=True)
class Probe:
    """Where the meter goes and what it is asked.

    red, black: canonical joint names (red minus black). For "ac amps" of the mains and "lamp": red = "mains".
    kind: see CONTRACTS.md. "ohms" is the power-off network with ``situation.mains_volts`` = 0.
    quantity: what the solver computes where it is not simply volts or ohms between the two joints:
        "volts", "ohms", "mains amps", "lamp", "look";
        "bond ohms" (a wire: 0 .. the limit of its stop rule), "open ohms" (an open circuit: expected null, ``low`` is
        the limit of its stop rule), "warm ohms" (copper at up to 60 K over cold: +0.39 % a kelvin);
        "signal volts" (mid-band at the load, the situation's stimulus), "gain ratio" (the same, over its value with the
        loop lifted), "hum volts" (at the load, input shorted), "ripple volts";
        "turns volts" (unplugged: ``situation.stimulus_volts`` on the loudspeaker terminals of that output transformer,
        their common tied to its centre; ideal windings, amplitude of red minus black);
        "peak volts" (highest of a cold start), "volts after" (``seconds`` after switch-off, from the rung's
        standing volts).
    seconds: for "volts after".
    series_ohms: a resistor in the clip, ahead of the meter (1 Mohm keeps a long lead off a grid).
    """

    kind: Kind
    red: str
    black: str = "chassis"
    quantity: str = "volts"
    seconds: float = 0.0
    series_ohms: float = 0.0


@dataclass(frozen=True, slots=True)
class StopRule:
    """One physical reason to switch off, as data; readings/stops.py turns it into volts, amps or ohms.

    rule: "capacitor volts" (``part``: working volts, ``limit``: what share of them, or None for all),
        "surge volts" (``part``: surge rating, cold starts only),
        "dissipation" (``part`` valve section: idle limit), "winding amps" (``part`` transformer), "bias safe" (``part``
        valve section: grid volts that hold the strongest of the spread), "sign" (``limit`` +1 or -1: its right sign),
        "zero" (``limit`` volts either side of 0), "heater" (``limit``: absolute volts), "ratio" (``limit``: fraction of
        the expected value), "ratio to" (``part``: id of another reading, ``limit``: fraction of that one's expected),
        "path" (half of the least ohms that the ways drawn may show),
        "heater to cathode" (``part`` valve section), "gas tube amps" (``part``: its volts at its most),
        "grid drift" (``part`` valve section: what
        over its grid leak drives it to its limit), "slow fall" (half as fast as computed), "at supply" (``part`` joint that
        feeds it, ``limit``: what is left of the drop), "hum" (three times the computed, and over ``limit``),
        "fixed" (``limit`` in the reading's unit; common practice or a standard, named in ``why``).
    side: stop when the SIZE of the reading is below or above, except "sign", "fixed" and "zero", which compare signed.
    """

    rule: str
    part: str = ""
    side: Literal["below", "above"] = "above"
    limit: float | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Beside:
    """Another reading that a reading is held to, by its ``id``.

    rule: "halves" (of one winding, in the ratio that is drawn), "sinks" (HT that falls below the row before), "side" (which of
    the two is the larger, as drawn).
    """

    rule: Literal["halves", "sinks", "side"]
    id: str


@dataclass(frozen=True, slots=True)
class PlannedReading:
    """One row of a rung. ``id`` is ``rung/probe/channel`` and never depends on mains or meter.

    red_at, black_at: bench words for the sheet ("V3 pin 5 (grid)", "chassis").
    pin: (base name, pin number) to ring on the socket drawing, or None.
    needs: True where the rung's gate may not be passed with this unread.
    expect_word: for "lamp" (dark, dim, half, full) and "look" (yes, no) readings.
    check_first: what to check first when it is off, whichever way. checks: of these, by side, what only that side can
        be: "low", "high" by size, "minus", "plus" by sign, "bright", "dark" of a lamp, "either"; empty where no side tells them apart.
    rest_volts: what a healthy part may hold there all the same [V]: a capacitor that was emptied brings some back.
    stop_words: why to switch off, where no figure can say it ("still rising at 60 s").
    remark: what a person must know of this row beside its numbers (a part bridged by others, a stop from a guess); the
        reading is judged all the same.
    beside: the reading that it is held to, and how; None where it stands by itself.
    first_current: the first current of a valve: a bad one may put far more there than is expected, and a needle begins high.
    on_seconds: how long the power of its own set-up was on [s]: what would rise is seen to rise.
    off_seconds: how long the plug was out before the power that it is read from [s]: its cathodes are cold then.
    """

    id: str
    what: str
    probe: Probe
    situation: Situation
    contact: Contact
    channel: str | None = None
    twin: str | None = None
    stops: tuple[StopRule, ...] = ()
    red_at: str = ""
    black_at: str = ""
    pin: tuple[str, int] | None = None
    needs: bool = True
    expect_word: str | None = None
    check_first: tuple[str, ...] = ()
    note_only: str = ""
    range_volts: float | None = None
    rest_volts: float = 0.0
    stop_words: str = ""
    checks: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    remark: str = ""
    tool: str = ""
    settle_seconds: float = 0.0
    off_seconds: float = 0.0
    on_seconds: float = 0.0
    beside: Beside | None = None
    first_current: bool = False

    @property
    def under_power(self) -> bool:
        """Is the mains on when it is read?"""
        return self.situation.mains_volts > 0.0 and self.probe.quantity != "volts after"


@dataclass(frozen=True, slots=True)
class Hold:
    """What stands at the end of a rung: a signed hold point or a gate its readings decide."""

    signed: bool
    text: str
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PlannedRung:
    """One step of the first power-up, without numbers."""

    id: str
    title: str
    situation: Situation
    stands: str
    before: tuple[str, ...]
    readings: tuple[PlannedReading, ...]
    hold: Hold
    cautions: tuple[str, ...] = ()
    watch_for: tuple[str, ...] = ()
    wait_seconds: float = 0.0
    wait_why: str = ""
    hands_in: bool = False
    dial_ceiling: float | None = None
    extra: Mapping[str, str] = field(default_factory=dict)
