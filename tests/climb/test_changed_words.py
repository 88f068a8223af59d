"""What a screen says after parts were changed, where readings before the last one are open again."""

from player import begun, healthy, once, up_to

from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.climb import Climb

A = "a-linden-twin"


def flat(screen: list[str]) -> str:
    return " ".join(" ".join(screen).split())


def changed() -> tuple[Climb, Sitting]:
    """The stereo example on rung 1 after its right P2 was read, R12 of both channels changed."""
    climb, clock = begun(A)
    up_to(climb, clock, "1/P3 whole track/right")
    sitting = Sitting(climb, Lines())
    sitting._line(climb.step, "changed R12")
    while climb.step.kind == "before":
        once(climb, clock, healthy)
    return climb, sitting


def test_no_instruction_is_empty() -> None:
    """``NOW .`` stood where a pot that the row before had at its end is asked nothing of any more."""
    climb, clock = begun(A)
    sitting = Sitting(climb, Lines())
    while climb.step.rung in ("0", "1"):
        for line in sitting.screen(climb.step):
            assert line.split() not in (["NOW", "."], ["NOW"], ["STANDS", "."]), climb.step
        once(climb, clock, healthy)


def test_back_after_a_change_names_what_counts_no_longer_and_what_is_asked() -> None:
    """It said "asked again: rung 1, P2 in place" over a screen that asked for the left P3, and the answer counted for that."""
    climb, sitting = changed()
    asked = climb.step.reading
    last = next(r.reading for r in reversed(climb.events) if r.reading and r.reading in climb.here.taken)
    assert asked is not None
    assert last is not None
    order = [r.id for r in climb.rung("1").readings]
    assert order.index(asked) < order.index(last)
    sitting._line(climb.step, "back")
    screen = flat(sitting.screen(climb.step))
    assert "asked again" not in screen
    assert f"counts no longer: {climb.called(last)}; asked before it: {climb.called(asked)}" in screen
    assert climb.step.reading == asked
    assert climb.called("1/P2 whole track/left") == "rung 1, P2 in place (left)"
