"""What a measured figure says of an incoming part: good, doubtful or never fit, beside the drawing, the order list and what the
parts audit finds there."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log

from firstglow.amplifier.model import Amplifier, Part
from firstglow.audit.incoming_leaks import Leak
from firstglow.audit.incoming_ordered import SAME, Ordered
from firstglow.audit.incoming_valves import Draws
from firstglow.audit.matching import Figure, marked
from firstglow.audit.parts import KINDS as STRESSES
from firstglow.audit.stress_passive import DRIFT
from firstglow.audit.ways import Stood
from firstglow.markings.incoming import Fitness, fitness
from firstglow.quantities import show

RENEW = 0.20
"""A resistor this far off its mark is never fitted, whatever its tolerance says (common practice: drifted past 20 %)."""
WORN = 0.6
"""A valve that draws less than this part of the band's low end is worn out (facts: worn valves fall to 60 to 70 %)."""


@dataclass(frozen=True, slots=True)
class Read:
    """One measured figure. part: as the amplifier has it; figure [SI]; unit: F, ohm, A or V; text: as typed; of_file: a measured
    layer of the file has it."""

    part: str
    figure: Figure
    unit: str
    text: str
    of_file: bool = False


@dataclass(frozen=True)
class Judging:
    """What one figure is held against: bought, fresh: what the order list puts in and its leak tests; tested: of what is drawn."""

    at: Stood
    amplifier: Amplifier
    bought: tuple[Ordered, ...]
    fresh: tuple[Leak, ...]
    tested: tuple[Leak, ...]
    draws: tuple[Draws, ...]

    def of(self, read: Read) -> tuple[Fitness, str]:
        """What it says of the part: never good where the part as drawn is past a rating that no ohms or farads show."""
        verdict, why = self._figure(read)
        part = self.amplifier.parts[read.part]
        past = ", ".join(unfit(self.at, part))
        if verdict != "good" or not past or "of the order list" in why or ORDERS in why:
            return verdict, why
        if part.kind not in ("resistor", "capacitor"):  # no other valve cures its place
            return verdict, f"{why}; what it draws, that is: its place is UNFIT ({past}), firstglow parts"
        new = next((f": fit {o.text}" for o in self.bought if o.part == part.name), "")
        return "doubtful", f"{why}; that is good, but as drawn it is UNFIT ({past}){new}"

    def _figure(self, read: Read) -> tuple[Fitness, str]:
        part, value = self.amplifier.parts[read.part], read.figure.value
        if part.kind == "capacitor" and read.unit != "F":
            new = next((x for x in self.fresh if x.part == part.name), None)
            if new is None:
                return _leak_judged(next((x for x in self.tested if x.part == part.name), None), value, read.unit)
            verdict, why = _leak_judged(new, value, read.unit)
            return verdict, f"{why}; as the new {new.kind} {show(new.farads, 'F')} of the order list (else --age old)"
        if part.kind in ("resistor", "capacitor"):
            return _value_judged(self.amplifier, part, value, [o for o in self.bought if o.part == part.name])
        return _draw_judged(next((d for d in self.draws if d.valve == part.name), None), value, read.unit)


ORDERS = "firstglow parts orders it"


def unfit(at: Stood, part: Part) -> tuple[str, ...]:
    """Stresses past a rating as it is drawn, with their figures; ohms off the drawing are judged by what is measured."""
    return tuple(
        f"{s.stress} {show(s.value, s.unit, 3)} of {show(s.rating, s.unit, 3)}"
        for s in STRESSES[part.kind](at, part)
        if s.verdict == "unfit" and s.rating is not None and s.stress != DRIFT
    )


def _draw_judged(drawn: Draws | None, value: float, unit: str) -> tuple[Fitness, str]:
    """A valve's amps, or the volts that they make."""
    if drawn is None:
        return "doubtful", "nothing here passes its current alone: there is no band for it"
    low, high = (drawn.low, drawn.high) if unit == "V" else (drawn.amps_low, drawn.amps_high)
    limit = drawn.limit_volts if unit == "V" else drawn.limit_amps
    band = f"{show(low, unit)} to {show(high, unit)}"
    if limit is not None and value > limit:
        return "never fit", f"over {show(limit, unit)} its plate is past its watts here: off; more bias, or another one"
    if value < WORN * low:
        return "never fit", f"far under {band}: worn out, or what feeds it is wrong"
    if low <= value <= high:
        return "good", f"within {band}"
    return "doubtful", f"outside {band}: look first at the parts around it, then try another one"


def _leak_judged(leak: Leak | None, value: float, unit: str) -> tuple[Fitness, str]:
    if leak is not None and leak.how == "rating unknown":
        return "doubtful", "what it stands is not in the file: there is no test and no limit for it"
    if leak is None or leak.test is None:
        return "doubtful", "no volts stand across it here: there is no limit for it"
    test = leak.test
    if unit == "V":
        said = f"{show(test.good_volts, 'V')} good, {show(test.reject_volts, 'V')} the most"
        return test.judge(value), said
    amps = abs(value) if unit == "A" else leak.test_volts / value
    said = f"{show(test.good_amps, 'A')} good, {show(test.reject_amps, 'A')} the most, at all of {show(leak.test_volts, 'V')}"
    return fitness(amps, test.good_amps, test.reject_amps), said


def _value_judged(amplifier: Amplifier, part: Part, value: float, bought: Sequence[Ordered]) -> tuple[Fitness, str]:
    """Farads or ohms against the mark, or against what the order list puts in its place where that is nearer."""
    q = part.values["farads" if part.kind == "capacitor" else "ohms"]
    unit = "F" if part.kind == "capacitor" else "ohm"
    mark, tolerance = marked(q), tolerance_of(amplifier, part)
    others = [o for o in bought if abs(o.value / mark - 1.0) > SAME]
    near = min(others, key=lambda o: abs(log(value / o.value)), default=None)
    if near is not None and abs(log(value / near.value)) < abs(log(value / mark)):
        verdict, why = _off(value, near.value, near.tolerance, unit)
        each = f", {near.pieces} of them" if near.pieces > 1 else ""
        return verdict, f"{why}; {ORDERS} in place of the {show(mark, unit)} drawn{each}"
    verdict, why = _off(value, mark, tolerance, unit)
    if others:
        pieces = f"{others[0].pieces} of " if others[0].pieces > 1 else ""
        why += f"; but firstglow parts orders {pieces}{show(others[0].value, unit)} here"
        verdict = "doubtful" if verdict == "good" else verdict
    return verdict, why


def _off(value: float, mark: float, tolerance: float, unit: str) -> tuple[Fitness, str]:
    off = value / mark - 1.0
    why = f"{100 * off:+.1f} % of {show(mark, unit)}, marked within {100 * tolerance:g} %"
    if abs(off) <= tolerance * (1.0 + 1e-9):
        return "good", why
    return ("never fit" if abs(off) > max(RENEW, tolerance) else "doubtful"), why


def tolerance_of(amplifier: Amplifier, part: Part) -> float:
    """Its tolerance as a fraction: the file's; of a measured one its twin's, else the kind's own."""
    from firstglow.amplifier.attributes import kinds

    key = "farads" if part.kind == "capacitor" else "ohms"
    for one in (part, amplifier.parts.get(part.twin or "")):
        q = None if one is None else one.values.get(key)
        if q is not None and q.origin.layer != "measured" and q.spread > 0.0:
            return q.spread
    return kinds()[part.kind].attributes[key].stated
