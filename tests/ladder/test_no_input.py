"""A file that does not say where the signal goes in still gets its ladder, and is told what is left out."""

from pathlib import Path

from at_hand import built
from firstglow.amplifier import load

EXAMPLE = Path(__file__).parent.parent.parent / "examples" / "b-hazel-four.toml"


def test_without_an_input_there_is_no_gain_row_and_a_finding() -> None:
    gone = ("J1 ", "P1 ", "R4 ")  # with the volume control, which only leads to the input
    lines = EXAMPLE.read_text(encoding="utf-8").replace('"volume"', '"V1 grid"').splitlines()
    without = "\n".join(line for line in lines if not line.startswith(gone))
    ladder = built(load(without), mode="fast")
    asked = {r.planned.probe.quantity for r in ladder.expected.readings()}
    assert not asked & {"signal volts", "gain ratio"}
    assert "turns volts" in asked  # the loop is proved by its cold phasing
    assert any("where the signal goes in" in finding for finding in ladder.document["findings"])
    assert "signal volts" in {r.planned.probe.quantity for r in built(load(EXAMPLE), mode="fast").expected.readings()}
