"""What the commands do, from Python in one line each; and two outputs that said less than they knew."""

import subprocess
import sys
from pathlib import Path

import pytest

from firstglow import api
from firstglow.cli.check import in_si
from firstglow.cli.valves import off, used

ROOT = Path(__file__).parents[2]
B = ROOT / "examples" / "b-hazel-four.toml"


def test_standing_without_a_situation_is_as_it_stands_at_its_mains() -> None:
    amplifier = api.load(B)
    at_mains = api.standing(amplifier, api.Situation(230.0))
    assert float(api.standing(amplifier).dc("HT1")[0]) == float(at_mains.dc("HT1")[0])


def test_schema_by_name() -> None:
    assert api.schema("ladder")["title"] == "firstglow ladder"
    with pytest.raises(KeyError, match="one of accuracy"):
        api.schema("laddr")


def test_demo_is_what_the_command_prints() -> None:
    import json

    done = subprocess.run(
        [sys.executable, "-m", "firstglow", "demo", "--json"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert json.loads(done.stdout) == api.demo()


def test_every_function_of_the_readme_is_there() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    names = text.split("from firstglow.api import ")[1].split("\n")[0].split(", ")
    assert set(names) <= set(api.__all__)
    assert all(callable(getattr(api, name)) for name in api.__all__)


@pytest.mark.parametrize(
    ("text", "number", "unit"),
    [
        ("10 %", 0.1, "1"), ("41 mA", 0.041, "A"), ("10.6 MΩ", 10.6e6, "ohm"), ("3.77 W", 3.77, "W"), ("0 V", 0.0, "V"),
        ("50 Hz", 50.0, "Hz"), ("1.1", 1.1, "1"), ("0.1 µF", 1e-7, "F"), ("joined to its cathode", None, None),
        ("perveance 8 %, mu 3 %, contact 0.07 V", None, None),
    ],
)  # fmt: skip
def test_a_default_as_a_number(text: str, number: float | None, unit: str | None) -> None:
    found = in_si(text)
    assert found["unit"] == unit
    assert found["number"] == (number if number is None else pytest.approx(number))


def test_a_bound_is_met_or_missed_and_no_error_of_nothing() -> None:
    """EL84, 40 V at the plate: at least 105 mA, the law 107.3 (+0.0 % said that they were the same)."""
    row = {"bound": "at least", "error": 0.0, "used": True, "why": ""}
    assert off(row).strip() == "met"
    assert off({**row, "error": -0.073}) == "  -7.3 %"
    assert off({**row, "bound": ""}) == "  +0.0 %"
    assert used({**row, "why": "printed twice: half weight each"}) == "half"
    done = subprocess.run(
        [sys.executable, "-m", "firstglow", "valves", "EL84"], cwd=ROOT, capture_output=True, text=True
    )
    knee = [x for x in done.stdout.splitlines() if "knee amps" in x]
    assert any(x.rstrip().endswith("met") for x in knee)
    assert not any("+0.0 %" in x for x in knee)
