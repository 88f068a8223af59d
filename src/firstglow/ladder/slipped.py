"""What slip explains a verdict: the same for a climb and for a readings file that is judged on its ladder."""

from collections.abc import Mapping
from dataclasses import replace
from math import isfinite

from firstglow.ladder.ladder import Ladder
from firstglow.ladder.near import Nearby
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.learn import learned
from firstglow.readings.meters import Meter
from firstglow.readings.slips import Slip, recognised, words_elsewhere
from firstglow.readings.taken import TakenFile
from firstglow.readings.typed import split_range, typed_number
from firstglow.readings.verdict import Verdict, Verdicts, verdict

_DOUBTED = ("look first", "switch off now")


def slips_of(
    ladder: Ladder, nearby: Nearby, reading: ExpectedReading, value: float | None, found: Verdict, *, mains_read: bool,
    meters: Mapping[str, Meter],
) -> tuple[Slip, ...]:  # fmt: skip
    """What may explain a verdict. reading: with the band it is held to. value: as typed [SI], None for a word. mains_read: the
    mains were read with it."""
    if found.verdict not in _DOUBTED:
        return ()
    if value is None:
        return words_elsewhere(ladder.expected, reading, found.value.strip().lower())
    compared = found.compared if found.compared is not None else value
    near = nearby.of(reading)
    return recognised(ladder.expected, reading, compared, near, mains_read=mains_read, meters=meters)


def file_judged(ladder: Ladder, taken: TakenFile) -> Verdicts:
    """A readings file judged, each doubt with the slips that would explain it. ReadingsError as ``verdict``."""
    rows = {row.id: row for row in taken.readings}

    def explained(judged: list[Verdict]) -> list[Verdict]:
        nearby, by_id = Nearby(ladder.frame), ladder.expected.by_id
        nearby.prepare(by_id[v.id] for v in judged if v.verdict in _DOUBTED)
        good = {v.id: v.compared for v in judged if v.verdict == "go on" and v.compared is not None}
        accepted = {name: figure for name, figure in good.items() if isfinite(figure)}
        out = []
        for v in judged:
            reading, row = learned(ladder.expected, v.id, accepted).reading, rows[v.id]
            word = reading.kind in ("lamp", "look")
            value = None if word else typed_number(split_range(row.text)[0], reading.unit)
            read = row.mains is not None
            slips = slips_of(ladder, nearby, reading, value, v, mains_read=read, meters=taken.meters)
            out.append(replace(v, slips=slips))
        return out

    return verdict(ladder.expected, taken, explained)
