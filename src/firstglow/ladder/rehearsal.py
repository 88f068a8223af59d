"""A first power-up with no high voltage: one amplifier drawn from the spreads, a fault perhaps hidden in it, climbed.

The virtual amplifier is another sample than those behind the bands; its meter has noise and digits of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Fault
from firstglow.ladder.ladder import Ladder
from firstglow.readings.asked import Cast
from firstglow.readings.spreads import draw, settings
from firstglow.readings.trial import GO_ON, judge, readings_of, show

VERDICTS = ("go on", "look first", "switch off now")
POPULATION = 64


@dataclass(frozen=True, slots=True)
class Event:
    """One reading taken in a rehearsal. shown: as the meter shows it. expected, band: as the sheet prints them."""

    rung: str
    reading: str
    what: str
    shown: str
    expected: str
    verdict: str
    check_first: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """All readings up to the one that stopped it (``stopped_at``: its id), or to the top (None)."""

    events: tuple[Event, ...]
    stopped_at: str | None


def demo_amplifier() -> Amplifier:
    """The invented scenario in the package."""
    path = files("firstglow.ladder").joinpath("data/rowan-three.toml")
    return load(path.read_text(encoding="utf-8"))


def rehearse(ladder: Ladder, faults: Sequence[Fault], seed: int) -> Rehearsal:
    """Climb ``ladder`` with a virtual amplifier that has ``faults``, stopping at the first verdict but go on.

    seed: which amplifier of the population it is, and its meter's errors.
    """
    sheet = ladder.sheet
    circuit = sheet.observer.circuit
    draws = draw(circuit, POPULATION, sheet.mains_width, seed)
    number = seed % POPULATION
    setting = {v: s[[number]] for v, s in settings(sheet.setting, POPULATION, seed).items()}
    import numpy as np

    which = np.array([number])
    cast = Cast(draws.values[:, which], setting, (tuple(faults),) if faults else (), POPULATION, which)
    seen = sheet.observer.see(sheet.wanted, cast, ohms_for=lambda r: True)
    shown = show(ladder.expected, sheet, seen, cast, seed)
    judged = judge(ladder.expected, shown)
    rung_of = {r.id: rung.id for rung in ladder.expected.rungs for r in rung.readings}
    at = {name: k for k, name in enumerate(judged.ids)}
    events = []
    for reading in readings_of(ladder.expected):
        if reading.id not in at:
            continue
        code = int(judged.codes[at[reading.id], 0])
        if code == GO_ON and bool(judged.misfit[at[reading.id], 0]):
            code = 1
        events.append(_event(rung_of[reading.id], reading, float(shown[reading.id][0]), VERDICTS[code]))
        if code != GO_ON:
            return Rehearsal(tuple(events), reading.id)
    return Rehearsal(tuple(events), None)


def _event(rung: str, reading: Any, value: float, verdict: str) -> Event:
    from firstglow.readings.finish import glow_word

    expected = reading.shown or ("open" if reading.expected is None else str(reading.expected))
    text = glow_word(value) if reading.on is None else reading.text(value)
    return Event(rung, reading.id, reading.planned.what, text, expected, verdict, reading.planned.check_first)
