"""What the whole climb wants on the bench, said once before it begins: nobody fetches a tester between two powers."""

from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from firstglow.readings.probe import PlannedReading, PlannedRung

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame


def to_hand(frame: "Frame", rungs: Iterable[PlannedRung]) -> str:
    """In one line, by what the readings of these rungs ask for."""
    rungs = list(rungs)
    readings = [r for rung in rungs for r in rung.readings]
    return frame.words.text("rung.note.to_hand", things="; ".join(_things(frame, rungs, readings)))


def _things(frame: "Frame", rungs: list[PlannedRung], readings: list[PlannedReading]) -> Iterator[str]:
    say, gear, situations = frame.words.text, frame.gear, [r.situation for r in readings]
    meters = "hand_meters" if gear.meters > 1 else "hand_meter"
    yield say(f"rung.note.{meters}", count=gear.meters, volts=f"{gear.most_volts:.0f}")
    yield from dict.fromkeys(r.tool for r in readings if r.tool)
    lamps = sorted({at.lamp_watts for at in (*situations, *(r.situation for r in rungs)) if at.lamp_watts})
    chain = say("rung.note.hand_chain", lamps=" and ".join(f"{w:.0f} W" for w in lamps)) if lamps else ""
    yield from (chain,) if chain else ()
    if frame.amplifier.of_kind("load"):
        yield say("rung.note.hand_load")
    if any(at.stimulus_volts for at in situations):
        yield say("rung.note.hand_generator")
    wanted = {"series": any(r.probe.series_ohms for r in readings), "hold": any(_is(r, "peak volts") for r in readings)}
    wanted["thermometer"] = any(r.id.endswith("frame warmth/shared") for r in readings)
    yield from (say(f"rung.note.hand_{name}") for name, there in wanted.items() if there)
    tests = {at.test_ohms for at in situations if at.test_ohms}
    yield from (say("rung.note.hand_test", ohms=frame.ohms_text(ohms)) for ohms in sorted(tests))


def _is(reading: PlannedReading, quantity: str) -> bool:
    return reading.probe.quantity == quantity
