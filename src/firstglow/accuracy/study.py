"""The whole study: every row and what they come to."""

from collections.abc import Sequence
from typing import Any

from firstglow.accuracy.charts import chart_rows, stage_rows
from firstglow.accuracy.closed import closed_rows
from firstglow.accuracy.published import published_rows
from firstglow.accuracy.rectifiers import rectifier_rows
from firstglow.accuracy.row import AccuracyRow
from firstglow.accuracy.summary import blind_dc, summary
from firstglow.accuracy.valves import valve_rows


def study() -> tuple[AccuracyRow, ...]:
    """Every row, predicted now (about 20 s)."""
    return (*valve_rows(), *stage_rows(), *rectifier_rows(), *published_rows(), *chart_rows(), *closed_rows())


def harder() -> dict[str, list[AccuracyRow]]:
    """The dc rows that no fit saw, looked at less kindly (about 20 s): what is changed -> rows."""
    makers = blind_dc(list(valve_rows(by_maker=True)))
    plain = [r for r in (*valve_rows(floor=False), *stage_rows(), *rectifier_rows(), *published_rows()) if r.valve]
    return {
        "all that the row's maker printed of the type left out of its law (types of several makers; valve rows alone)": makers,
        "the floor under the laws' uncertainties taken away": blind_dc(plain),
    }


def document(rows: Sequence[AccuracyRow]) -> dict[str, Any]:
    """CONTRACTS' ``accuracy`` document."""
    return {"rows": [r.document() for r in rows], "summary": summary(rows)}
