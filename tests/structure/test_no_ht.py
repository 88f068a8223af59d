"""An amplifier whose rectifier was left out of the file: its ladder would show no HT where the real one puts 360 V."""

from pathlib import Path

import pytest

from firstglow.amplifier import AmplifierError, load

EXAMPLES = Path(__file__).parent.parent.parent / "examples"


def test_a_rectifier_left_out_is_told_and_the_remedy_brings_ht_back() -> None:
    lines = (EXAMPLES / "b-hazel-four.toml").read_text(encoding="utf-8").splitlines()
    without = "\n".join(line for line in lines if not line.startswith("V3 = "))
    with pytest.raises(AmplifierError) as told:
        load(without)
    found = [p for p in told.value.problems if "no HT" in p.found]
    assert len(found) == 1
    assert found[0].part == "T1"
    mended = without.replace("[parts]", f"[parts]\n{found[0].remedy}", 1).replace("[parts]  ", "[parts]", 1)
    try:
        load(mended)
    except AmplifierError as error:
        assert not [p for p in error.problems if "no HT" in p.found], error  # other things it lacks may show


def test_the_examples_have_theirs() -> None:
    for file in EXAMPLES.glob("*.toml"):
        load(file)
