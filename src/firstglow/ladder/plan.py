"""The first power-up of one amplifier as planned rungs, derived from its own structure by the rules of the ladder."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from firstglow.amplifier.drawn_loops import positive_loops
from firstglow.amplifier.look import look_at
from firstglow.amplifier.model import Amplifier, AmplifierError, Problem
from firstglow.amplifier.refusals import refusals
from firstglow.amplifier.roles import roles
from firstglow.ladder import (
    rung_bias,
    rung_cold,
    rung_ht,
    rung_idle,
    rung_loop,
    rung_mains,
    rung_output,
    rung_polarity,
    rung_small,
    rung_soak,
    rung_transformer,
    unfit,
)
from firstglow.ladder.contacts import with_contacts
from firstglow.ladder.ends import negative_ends
from firstglow.ladder.frame import Frame
from firstglow.ladder.gear import Gear
from firstglow.ladder.overloads import Overload
from firstglow.ladder.questions import Physics
from firstglow.ladder.ratings import within_capacitors, within_ratings
from firstglow.ladder.stands import stands
from firstglow.ladder.to_hand import to_hand
from firstglow.readings.probe import Hold, PlannedRung

TWICE = 2.0  # of a rating: no rung is printed that would pass it


def plan(amplifier: Amplifier, gear: Gear, physics: Physics) -> tuple[PlannedRung, ...]:
    """Rungs 0 to 10 as this amplifier needs them.

    Reading ids depend on the amplifier alone. Raises AmplifierError for one that no ladder may be made for.
    """
    return plan_frame(frame_of(amplifier, gear, physics))


def plan_frame(frame: Frame) -> tuple[PlannedRung, ...]:
    """The same, from a frame."""
    rungs = with_contacts(frame, _once([_needs(rung) for rung in _powered(frame)]))
    rungs = within_capacitors(frame, within_ratings(frame, rungs))
    rungs = [_with_the_list(frame, rungs), *rungs[1:]]
    return tuple(
        replace(
            rung,
            stands=stands(frame, rung.situation),
            title=frame.words.text("rung.note.title", id=rung.id, title=rung.title),
        )
        for rung in _twins(rungs)
    )


def _with_the_list(frame: Frame, rungs: Sequence[PlannedRung]) -> PlannedRung:
    """The first rung, what the whole climb wants on the bench told after unplugging."""
    first = rungs[0]
    return replace(first, before=(*first.before[:1], to_hand(frame, rungs), *first.before[1:]))


def frame_of(amplifier: Amplifier, gear: Gear, physics: Physics, overloaded: tuple[Overload, ...] = ()) -> Frame:
    """Structure, bench and physics together, and what ``overloads`` found."""
    _refuse(amplifier)
    found = roles(amplifier)
    return Frame(amplifier, found, gear, physics, negative_ends(found), overloaded)


def _refuse(amplifier: Amplifier) -> None:
    """AmplifierError for a set on the mains, for a loop that howls (in any layer: what stands there must be mended
    before it is powered), and for a fragment: it has no mains side to bring up."""
    problems = refusals(amplifier) or tuple(positive_loops(look_at(amplifier)))
    if not problems and not amplifier.of_kind("transformer"):
        found, allowed = (
            "a fragment on a bench supply has no mains side",
            "a whole amplifier with its mains transformer",
        )
        problems = (
            Problem(amplifier.file, 1, "amplifier", found, allowed, "firstglow standing, which takes fragments"),
        )
    if problems:
        raise AmplifierError(problems)


def _powered(frame: Frame) -> Iterable[PlannedRung]:
    """All rungs in order, ending where a capacitor's rating ends them."""
    every = list(_every(frame))
    if _last(frame):
        every[-1] = _ended(frame, every[-1])
    return every


def _last(frame: Frame) -> str:
    """The last rung that may follow: where a capacitor's rating or an overload as drawn ends them; "" for all."""
    ends = [e for e in (frame.dials.stops_after, _overload(frame)[0]) if e]
    return min(ends, key=_order, default="")


def _overload(frame: Frame) -> tuple[str, Overload | None]:
    """(rung, what) after which twice a rating would be passed as drawn: of a current with HT on, of a valve's watts with
    it in; ("", None) where nothing is."""
    twice = [o for o in frame.overloaded if o.value >= TWICE * o.limit]
    for rung, unit in (("3", "A"), ("5", "W")):
        found = next((o for o in twice if o.unit == unit), None)
        if found is not None:
            return rung, found
    return "", None


def _every(frame: Frame) -> Iterable[PlannedRung]:
    """Every rung up to the last that may follow."""
    yield rung_mains.rung(frame)
    yield rung_cold.rung(frame)
    last = _last(frame)
    makers: tuple[tuple[str, Callable[[], Iterable[PlannedRung]]], ...] = (
        ("2a", lambda: [rung_transformer.early(frame)]),
        ("2b", lambda: [rung_transformer.full(frame)]),
        ("3", lambda: [rung_bias.rung(frame)]),
        ("4", lambda: rung_ht.rungs(frame)),
        ("5", lambda: [rung_small.rung(frame)]),
        ("6", lambda: rung_output.rungs(frame)),
        ("7", lambda: [rung_polarity.rung(frame)]),
        ("8", lambda: [rung_loop.rung(frame)] if frame.liftable else []),
        ("9", lambda: [rung_idle.rung(frame)]),
        ("10", lambda: [rung_soak.rung(frame)]),
    )
    for first, make in makers:
        if not last or _order(first) <= _order(last):
            yield from (r for r in make() if not last or _order(r.id) <= _order(last))


def _order(rung: str) -> tuple[int, str]:
    """Rungs in the order they are climbed; 4a, 4 and 4b count as one."""
    number = int(rung.rstrip("abcdefgh"))
    return number, "" if number == int(rung_ht.RUNG) else rung.lstrip("0123456789")


def _ended(frame: Frame, rung: PlannedRung) -> PlannedRung:
    """The last rung of a ladder that a rating cuts short."""
    where, over = _overload(frame)
    worst = frame.dials.ends_at
    if over is not None and where == _last(frame):
        text = frame.words.text("rung.note.ends_overload", what=over.text)
    else:
        assert worst is not None
        text = unfit.ends_text(frame, worst)
    return replace(rung, hold=Hold(False, text, rung.hold.needs))


def _needs(rung: PlannedRung) -> PlannedRung:
    """A hold needs every needed reading of its rung, and what it already named of earlier rungs."""
    own = tuple(r.id for r in rung.readings if r.needs and not r.note_only)
    return replace(rung, hold=replace(rung.hold, needs=tuple(dict.fromkeys((*rung.hold.needs, *own)))))


def _once(rungs: list[PlannedRung]) -> list[PlannedRung]:
    """A caution is said at the moment it first fits, and never again."""
    said: set[str] = set()
    made = []
    for rung in rungs:
        fresh = tuple(c for c in dict.fromkeys(rung.cautions) if c not in said)
        said.update(fresh)
        made.append(replace(rung, cautions=fresh))
    return made


def _twins(rungs: list[PlannedRung]) -> list[PlannedRung]:
    """Twin readings of another rung of the same step (6a and 6b) are found; a twin that is nowhere is none."""
    ids = {r.id for rung in rungs for r in rung.readings}
    outputs = [rung.id for rung in rungs if rung.id.startswith("6")]

    def twin(own: str, wanted: str | None) -> str | None:
        if wanted is None or wanted in ids:
            return wanted
        rung, _, rest = wanted.partition("/")
        return next((f"{other}/{rest}" for other in outputs if other != rung and f"{other}/{rest}" in ids), None)

    return [replace(rung, readings=tuple(replace(r, twin=twin(r.id, r.twin)) for r in rung.readings)) for rung in rungs]
