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
        'kind = "moving coil"\nranges = { dc_volts = ["2.5V", 10, "100V", "1000V"], ac_volts = ["10V"] }',
    ],
)
def test_meters_that_there_are(text: str) -> None:
    assert list(load_bench(f"format = 1\n[meters.mine]\n{text}\n").meters) == ["mine"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        # 20 kohm across every joint is what "ohms" says; a moving coil loads by its range
        ('kind = "moving coil"\nohms = "20k"', 'try ohms_per_volt = "20k"'),
        ('kind = "moving coil"\nohms = "20k/V"', 'try ohms_per_volt = "20k"'),
        ('kind = "moving coil"\nohms_per_volt = "33k3/V"', 'try ohms_per_volt = "33k3"'),
        ('ohms = "20 kΩ/V"', 'try ohms_per_volt = "20k" with kind = "moving coil"'),
        ('ohms_per_volt = "20k"', 'kind = "moving coil"'),
        ('kind = "moving coil"\ncounts = 6000', "taking counts out"),
        ('ranges = { dc_volts = ["10V"] }', "counts = 6000"),
        ('kind = "moving coil"\nranges = ["2.5V", "10V"]', "ranges = { dc_volts = ["),
        ('kind = "moving coil"\nranges = { dc_volts = ["wide"] }', "ranges = { dc_volts = ["),
        ('kind = "moving coil"\nranges = { dc_volt = ["10V"] }', "try dc_volts"),
    ],
)
def test_a_key_of_the_other_kind_of_meter_names_its_own(text: str, told: str) -> None:
    with pytest.raises(BenchError) as caught:
        load_bench(f"format = 1\n[meters.mine]\n{text}\n", name="bench.toml")
    assert len(caught.value.problems) == 1
    assert told in caught.value.problems[0].text


def test_no_lamp_is_told_in_plain_words() -> None:
    """The first rungs under power go through a lamp with a variable transformer too: it limits volts, never current."""
    with pytest.raises(AmplifierError, match="limiter lamp"):
        build(load(SINGLE), load_bench("format = 1\nlamps = []\n"))


def test_a_last_rung_before_the_first_is_bad_input() -> None:
    with pytest.raises(AmplifierError, match="--from 3 --to 4"):
        build(load(SINGLE), from_rung="4", to_rung="3", mode="fast")
