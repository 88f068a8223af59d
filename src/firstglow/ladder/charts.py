"""Charts onto the document of a ladder: beside the rows that they meet, and at its head where they disagree."""

from collections.abc import Mapping
from typing import Any

from firstglow.amplifier.model import Amplifier
from firstglow.readings.chart_doubts import by_chart, disagreement
from firstglow.readings.charts import beside
from firstglow.readings.expected import ExpectedLadder
from firstglow.readings.observe import Observer


def with_charts(
    document: dict[str, Any], amplifier: Amplifier, expected: ExpectedLadder, observer: Observer
) -> dict[str, Any]:
    """The document with ``charts`` in each reading that a chart has; no other figure of it is touched."""
    if not amplifier.charts:
        return document
    compared = by_chart(amplifier, observer)
    found = beside(amplifier, expected, [row for rows in compared.values() for row in rows])
    heads = [
        f"{text} `firstglow check` tells what would explain it. Chart against expected questions the drawing; expected "
        "against what you read, the amplifier."
        for chart in amplifier.charts
        if (text := disagreement(chart, compared.get(chart.title, ())))
    ]

    def with_own(reading: Mapping[str, Any]) -> dict[str, Any]:
        charts = [one.json() for one in found.get(reading["id"], ())]
        return {**reading, "charts": charts} if charts else dict(reading)

    rungs = [{**rung, "readings": [with_own(r) for r in rung["readings"]]} for rung in document["rungs"]]
    return {**document, "findings": [*document["findings"], *heads], "rungs": rungs}
