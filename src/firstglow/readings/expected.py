"""What is expected of every reading of a ladder, as data."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import isfinite
from typing import Any, Literal

from firstglow.readings.apart import Apart, Ground, steps_down
from firstglow.readings.meters import SCALE, SIGN, UNIT, Meter, Range, loaded
from firstglow.readings.probe import PlannedReading, PlannedRung

# Mains, over the mains of the reading's situation, at which ``mains_curve`` is known.
MAINS_STEPS = (0.90, 0.95, 1.0, 1.05, 1.10)

# What tells a healthy amplifier from a sick one where this meter does not.
ANOTHER = "read it with a digital meter"


@dataclass(frozen=True, slots=True)
class Stop:
    """One side of a stop limit.

    limit [SI]: stop when the signed reading passes it. why: in bench words. cut: it lies inside the healthy band.
    separate: the cheapest measurement that tells a healthy amplifier from a sick one there ("" where not cut).
    """

    limit: float
    why: str
    cut: bool = False
    separate: str = ""


def share_of(planned: PlannedReading, on: Range, source_ohms: float) -> float:
    """What a range leaves of the true volts; all of them where a charge stands behind the joint, or a rail that the plan
    starts high on."""
    if on.unit != "V" or planned.situation.mains_volts == 0.0 or planned.range_volts:
        return 1.0
    return float(loaded(1.0, source_ohms, on.input_ohms))


def up_to_stops(
    low: float | None, high: float | None, below: float | None, above: float | None
) -> tuple[float | None, float | None]:
    """A band as far as no stop limit cuts it off: what is printed, for the stop wins. A band past its stop altogether stays
    whole: there the row itself says that the amplifier as drawn stands past it."""
    foot = below if low is not None and below is not None and below > low else low
    head = above if high is not None and above is not None and above < high else high
    return (foot, head) if foot is None or head is None or foot <= head else (low, high)


@dataclass(frozen=True, slots=True)
class ExpectedReading:
    """One reading with its numbers.

    rung: id of its rung. on: the meter's range, None for lamp and look. expected: [SI] as the meter shows it, a word
    for lamp and look, None for an open circuit. low, high: band [SI], rounded outward on the meter's step.
    moved_by: (part, share of the band's variance), largest first, down to 80 % in all.
    words: the answers a healthy amplifier may give (lamp and look).
    source_ohms: Thevenin ohms behind the two joints [ohm]. sigma: of the shown value [SI].
    mains_curve: the nominal shown value [SI] at MAINS_STEPS, () where the mains do not move it.
    ground: what a range is judged on that it is read on. start: the range to put the meter on first, None where that is
    ``on``. hidden: why the ladder's meter cannot judge it, and what can; "" where it can. bridged: which part can be open
    here and still read inside the band ("" for none): inside it nothing is proved of that part. over: what an overload of
    this range means, where the stop limit lies past it ("" elsewhere). looked: a rating short of the stop; above it this is
    looked at first, whatever the mains.
    """

    planned: PlannedReading
    rung: str
    on: Range | None = None
    expected: float | str | None = None
    low: float | None = None
    high: float | None = None
    stop_below: Stop | None = None
    stop_above: Stop | None = None
    moved_by: tuple[tuple[str, float], ...] = ()
    words: tuple[str, ...] = ()
    source_ohms: float = 0.0
    sigma: float = 0.0
    mains_curve: tuple[float, ...] = ()
    note_only: str = ""
    ground: Ground = field(default_factory=Ground)
    start: Range | None = None
    hidden: str = ""
    bridged: str = ""
    over: str = ""
    looked: Stop | None = None

    @property
    def id(self) -> str:
        """``rung/probe/channel``."""
        return self.planned.id

    @property
    def kind(self) -> str:
        """What is read, as CONTRACTS.md calls it."""
        return self.planned.probe.kind

    @property
    def unit(self) -> str | None:
        """SI unit of the numbers; None for lamp and look."""
        quantity = self.planned.probe.quantity
        return "1" if quantity == "gain ratio" else UNIT[self.kind]

    @property
    def shown(self) -> str | None:
        """The expected value exactly as the meter shows it."""
        if self.on is None or not isinstance(self.expected, float):
            return self.expected if isinstance(self.expected, str) else None
        return self.on.shown(self.expected)

    def hidden_from(self, on: Range | None) -> Apart | None:
        """The limit that this range of a meter cannot tell from what is expected, None where it can tell every one.

        A moving coil of 20 kohm/V on half a volt is 10 kohm across a grid leak of half a megohm: two volts of a leaking
        coupling capacitor move its needle by less than its own error. On 500 V it moves by nothing for 10 V.
        """
        return None if on is None else self.ground.hides(on)

    def steps_down(self, meter: Meter) -> bool:
        """Does a lower range of this meter judge what the one that the reading starts on cannot?"""
        finer = self.ground.resolving(meter) if self.on is not None and self.ground.hides(self.on) else None
        return finer is not None and self.on is not None and finer.full < self.on.full

    def share(self, on: Range) -> float:
        """What is left of the true volts with this range across them."""
        return share_of(self.planned, on, self.source_ohms)

    @property
    def how(self) -> str:
        """Which range, and how to come to it: "10 V", "start at 500 V, step down to 10 V"; "" for none."""
        if self.on is None or self.planned.tool:
            return self.planned.tool
        return f"start at {self.start.text}, step down to {self.on.text}" if self.start else self.on.text

    @property
    def passing(self) -> tuple[float | None, float | None]:
        """(low, high) of the band up to the stop limits."""
        below, above = (None if s is None else s.limit for s in (self.stop_below, self.stop_above))
        return up_to_stops(self.low, self.high, below, above)

    @property
    def band_cut(self) -> bool:
        """A stop limit lies inside the healthy band."""
        return any(s is not None and s.cut for s in (self.stop_below, self.stop_above))

    def checks(self, value: float | None = None) -> tuple[str, ...]:
        """What to check first: what the plan says of the side that ``value`` lies on, else the part that moves it most."""
        planned, parts = self.planned, tuple(part for part, _ in self.moved_by[:2])
        if value is None or not planned.checks or not isinstance(self.expected, float):
            return planned.check_first or parts
        found = tuple(text for side in (*self.sides(value), "either") for text in planned.checks.get(side, ()))
        return found or parts

    def lamp_checks(self, *, brighter: bool) -> tuple[str, ...]:
        """The same for a lamp: brighter means that more is drawn than expected, darker that less is."""
        side = "bright" if brighter else "dark"
        return tuple(self.planned.checks.get(side, ())) or self.checks()

    def sides(self, value: float) -> tuple[str, str]:
        """("low" or "high" by size, "minus" or "plus" by sign) of a value against what is expected. Size follows the sign
        of what is expected: a bias that has gone to 0 or past it is low."""
        assert isinstance(self.expected, float)
        plus = value > self.expected
        return ("high" if plus == (self.expected >= 0.0) else "low", "plus" if plus else "minus")

    def text(self, value: float) -> str:
        """A value as a person says it beside this reading: in its own unit and scale."""
        if not isfinite(value):
            return "OL" if value > 0 else "-OL"
        if self.on is not None and self.unit == self.on.unit and abs(value) <= self.on.full:
            return self.on.shown(value)
        scale = next((s for s in ("M", "k", "") if abs(value) >= SCALE[s]), "m") if value else ""
        return f"{value / SCALE[scale]:.4g} {scale}{SIGN.get(self.unit or '1', self.unit or '')}".strip()

    @property
    def _looked(self) -> str:
        """Why the same capacitor stops later here than on every other rung."""
        if self.looked is None or self.stop_above is None:
            return ""
        at = self.text(self.looked.limit)
        first = (
            f"Above {at}: look first. " if self.looked.cut else ""
        )  # only where a healthy one may read so: elsewhere the band says it
        return f"{first}Other rungs stop at {at}; here surge volts do, for the seconds of a start only."

    def json(self, rung_situation: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """The reading as CONTRACTS.md's READING; ``situation`` is left to the ladder, which knows the rung's."""
        p = self.planned
        return {
            "id": p.id, "what": p.what, "red": p.probe.red, "black": p.probe.black, "kind": self.kind,
            "range": (self.on.text or None) if self.on else None, "how": self.how or None, "unit": self.unit, "expected": self.expected,
            "low": self.low, "high": self.high,
            "stop_below": self.stop_below.limit if self.stop_below else None,
            "stop_above": self.stop_above.limit if self.stop_above else None,
            "stop_why": [s.why for s in (self.stop_below, self.stop_above) if s],
            "band_cut": self.band_cut,
            "separate": [s.separate for s in (self.stop_below, self.stop_above) if s and s.cut],
            "shown": self.shown, "contact": p.contact, "channel": p.channel, "twin": p.twin,
            "situation": dict(rung_situation or {}),
            "moved_by": [{"part": part, "share": round(share, 4)} for part, share in self.moved_by],
            "note_only": self.note_only, "remark": " ".join(t for t in (p.remark, self.bridged, self.over, self._looked) if t),
            "hidden": self.hidden, "stop_words": p.stop_words, "words": list(self.words),
            "red_at": p.red_at, "black_at": p.black_at,
            "pin": {"base": p.pin[0], "number": p.pin[1]} if p.pin else None,
            "needs": p.needs,
        }  # fmt: skip


def overload(stop: Stop | None, on: Range | None, meter: Meter) -> Literal["", "stop", "up"]:
    """What an overload of volts or amps means on a range that ends short of the stop limit: "stop" where the limit lies
    within the next range up (it may be past already, and nobody turns a range meanwhile), else "up": one range up, and
    read again; "" where the limit is on the range, or there is none higher."""
    if on is None or on.unit not in {"V", "A"}:
        return ""
    higher = [r.full for r in meter.of_kind(on.kind) if r.full > on.full]
    if not higher or (stop is not None and stop.limit <= on.full):
        return ""
    return "stop" if stop is not None and stop.limit <= higher[0] else "up"


def hidden_text(reading: ExpectedReading, on: Range, meter: Meter) -> str:
    """Why a range cannot judge a reading, and what can."""
    ground = reading.ground
    stands = abs(ground.true) * ground.share(on) if on.unit == "V" else 0.0
    if on.full * (1.0 + 1e-9) < stands < float("inf") and on == meter.of_kind(on.kind)[-1]:
        return f"its highest range is {on.text}, and {on.text_of(stands)} stand here: only with a meter that reaches further"
    limit = ground.hides(on)
    if limit is None:
        return ""
    finer = ground.resolving(meter)
    if finer is not None and finer.full < on.full:
        steps = ", then ".join(r.text for r in steps_down(meter, reading.kind, on, finer)[1:])
        return (
            f"on its {on.text} range this meter may be {on.text_of(on.limits(0.0))} wrong, and "
            f"{on.text_of(abs(limit.limit))} must not stand here: step down to {steps}, and type it with its range: "
            f"{reading_as_typed(0.0, finer)}"
        )
    if ground.true == float("inf"):
        return f"this meter's scale ends at {on.text}, short of what is wanted; {ANOTHER}"
    if ground.share(on) < 0.5:
        return (
            f"on its {on.text} range this meter is {on.input_ohms / 1e3:g} kΩ across a joint of "
            f"{ground.source_ohms / 1e3:.0f} kΩ: what must not stand here would not move it; {ANOTHER}"
        )
    return (
        f"on its {on.text or 'own'} range this meter may be {on.text_of(on.limits(0.0))} wrong: too coarse to tell what "
        f"is expected from what must stop; {ANOTHER}"
    )


def reading_as_typed(value: float, on: Range) -> str:
    """A figure with the range it was read on, as it is typed: "0 V on 10 V"."""
    return f"{on.shown(value)} on {on.text}"


@dataclass(frozen=True, slots=True)
class ExpectedRung:
    """One rung with its numbers."""

    planned: PlannedRung
    readings: tuple[ExpectedReading, ...]

    @property
    def id(self) -> str:
        """Id of the rung."""
        return self.planned.id


@dataclass(frozen=True, slots=True)
class ExpectedLadder:
    """The whole ladder with its numbers.

    mains: V rms at the socket. score: the common normal score of the bands. findings: what the amplifier cannot do
    (bias that does not reach, a pot out of travel), in bench words, for the sheet. given: what readings say about
    each other (readings.given), cause: what they say together of one part (readings.one_cause); None where not asked for.
    """

    amplifier: str
    digest: str
    mains: float
    meter: Meter
    rungs: tuple[ExpectedRung, ...]
    score: float = 0.0
    samples: int = 0
    findings: tuple[str, ...] = ()
    given: Any = None
    cause: Any = None
    by_id: Mapping[str, ExpectedReading] = field(default_factory=dict)

    def readings(self) -> Iterator[ExpectedReading]:
        """All readings, in the order they are taken."""
        for rung in self.rungs:
            yield from rung.readings

    @property
    def past_the_meter(self) -> str:
        """How many rows this meter cannot judge on any of its ranges, and on which rungs; "" where it judges them all."""
        rows = [r for r in self.readings() if r.hidden and not r.steps_down(self.meter)]
        if not rows:
            return ""
        ids = list(dict.fromkeys(r.rung for r in rows))
        number = f"{len(rows)} rows" if len(rows) > 1 else "one row"
        return (
            f"WITH THIS METER {number} cannot be judged, a figure just as expected neither "
            f"({'rungs' if len(ids) > 1 else 'rung'} {', '.join(ids)}): they need a digital meter of 10 MΩ beside it"
        )
