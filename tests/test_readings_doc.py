"""The readings file that docs/readings.md shows is taken by the example it is written for."""

import re
from pathlib import Path

from at_hand import built
from firstglow.amplifier import load
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import verdict

ROOT = Path(__file__).parent.parent


def test_the_readings_file_shown_is_understood_and_healthy() -> None:
    text = re.findall(r"```toml\n(.*?)```", (ROOT / "docs" / "readings.md").read_text(encoding="utf-8"), re.DOTALL)[0]
    ladder = built(load(ROOT / "examples" / "b-hazel-four.toml"), mode="fast")
    told = verdict(ladder.expected, parse_taken(text))
    assert len(told.verdicts) == text.count('/shared"')
    assert {v.verdict for v in told.verdicts} == {"go on"}
