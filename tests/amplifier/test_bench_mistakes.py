"""A bench file's mistakes are told in one go, each at its line; rungs and lamps that no ladder has are bad input."""

from pathlib import Path

import pytest

from firstglow.amplifier import AmplifierError, load, load_bench
from firstglow.amplifier.bench import BenchError
from firstglow.ladder.ladder import build

SINGLE = Path(__file__).parents[2] / "examples" / "b-hazel-four.toml"
BAD = """format = 1
lampz = 3
lamps = ["0W"]
leads = "5V"
[words]
valve = "x"
[meters.a]
dc = "x"
kind = "q"
counts = "z"
[meters.b]
ohms = "-1M"
rating = "high"
"""


def test_every_mistake_of_a_bench_file_in_one_go() -> None:
    with pytest.raises(BenchError) as caught:
        load_bench(BAD, name="bench.toml")
    assert [p.line for p in caught.value.problems] == [2, 3, 4, 6, 8, 9, 10, 12, 13]


@pytest.mark.parametrize(
    "text",
    [
        'counts = 6000\nohms = "10M"',
        'kind = "moving coil"\nohms_per_volt = "20k"\nac_ohms_per_volt = "5k"',
        "ohms = 10000000\nrating = 600\nleads = 1000",
    ],
)
def test_meters_that_there_are(text: str) -> None:
    assert list(load_bench(f"format = 1\n[meters.mine]\n{text}\n").meters) == ["mine"]


def test_no_lamp_is_told_in_plain_words() -> None:
    """The first rungs under power go through a lamp with a variable transformer too: it limits volts, never current."""
    with pytest.raises(AmplifierError, match="limiter lamp"):
        build(load(SINGLE), load_bench("format = 1\nlamps = []\n"))


def test_a_last_rung_before_the_first_is_bad_input() -> None:
    with pytest.raises(AmplifierError, match="--from 3 --to 4"):
        build(load(SINGLE), from_rung="4", to_rung="3", mode="fast")
