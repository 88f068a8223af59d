"""A climb says which preset is turned, until what, at the reading that it is turned for, and not with the plug out."""

from player import Clock, healthy, ladder, once

from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.climb import Climb
from firstglow.records.store import MemoryStore


def test_now_names_the_preset_and_its_valve() -> None:
    """Only "plug in, dial up slowly" stood there, nothing of P1: the first idle was set by guess with HT on."""
    clock = Clock()
    climb = Climb(ladder("a-linden-twin"), MemoryStore(), clock=clock)
    climb.begin()
    sitting, told, cards = Sitting(climb, Lines()), {}, []
    while climb.step.kind != "done" and climb.step.rung != "10":
        step = climb.step
        text = " ".join(" ".join(sitting.screen(step)).split())
        if step.kind == "reading":
            told[step.reading] = text
        elif step.kind == "before":
            cards.append(text)
        once(climb, clock, healthy)
    first = told["6a/V3 cathode at half idle/left"]
    assert "turn left P1 until V3 draws 12 mA; turn left P2 until V4 draws 12 mA. More is toward end 2." in first
    assert "turn right P1 until V7 draws 12 mA" in told["6b/V7 cathode at half idle/right"]
    assert "turn right P2 until V8 draws 24 mA" in told["9/V3 cathode after 10 min/left"]
    assert "turn left P1" not in told["9/V3 cathode after 30 min/left"]  # told where it is turned, once
    assert not [card for card in cards if "NOW Idle set to" in card or "NOW Under power" in card]
