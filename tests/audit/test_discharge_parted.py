"""``firstglow discharge``: a standby switch that parts capacitors from their drain, by RC closed forms (any textbook)."""

import json
import math
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from at_hand import firstglow
from firstglow import schemas
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
A, B, C = (EXAMPLES / f"{n}.toml" for n in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty"))
BEHIND = {"C2", "C3a", "C3b"}


def high(amplifier: Amplifier, part: str, attribute: str) -> float:
    q = amplifier.parts[part].values[attribute]
    return q.value * (1.0 + (3.0 if q.shape == "normal" else 1.0) * q.spread)


@pytest.fixture(scope="module")
def standby(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Example (a) with a standby switch between the reservoir, which R1 drains, and all the rest of HT."""
    text = A.read_text()
    old = next(one for one in text.splitlines() if one.startswith("L1 = "))
    file = tmp_path_factory.mktemp("standby") / A.name
    file.write_text(text.replace(old, 'S2 = ["standby switch", "HT1", "HT1b"]\n' + old.replace('"HT1"', '"HT1b"')))
    return file


def answer(*words: str | Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(firstglow("discharge", *words, "--json").stdout)
    jsonschema.validate(found, schemas.load("discharge"))
    return found


def test_a_switch_may_be_taken_as_open(standby: Path) -> None:
    """Then the reservoir falls through R1 alone, R C ln(V / 60), all at the slow end; behind the switch nothing drains."""
    a = load(standby)
    rows = {r["part"]: r for r in answer(standby, "--open", "S2")["capacitors"]}
    rc = high(a, "C1", "farads") * high(a, "R1", "ohms")
    assert rows["C1"]["below_60_s"] == pytest.approx(rc * math.log(rows["C1"]["volts"] / 60.0), rel=0.01)
    assert all(rows[n]["below_60_s"] is None for n in BEHIND)
    said = " ".join(firstglow("discharge", standby, "--open", "S2").stdout.split())
    assert "It does not fall by itself" in said and "a bleeder is missing, or what is taken as open here." in said
    refused = firstglow("discharge", standby, "--open", "D1", code=2)
    assert "switch" in refused.stderr


def test_what_a_switch_parts_is_told_with_where_to_read(standby: Path) -> None:
    """Closed, all of them fall through R1 by themselves; the page says what does not with S2 open, and both its sides are read."""
    found = answer(standby)
    rows = {r["part"]: r for r in found["capacitors"]}
    assert all(rows[n]["below_60_s"] is not None for n in BEHIND)
    (parted,) = found["parted"]
    times = {c["part"]: c["below_60_s"] for c in parted["capacitors"]}
    assert parted["part"] == "S2" and set(times) >= BEHIND and "C1" not in times
    assert all(times[n] is None for n in BEHIND)
    assert parted["read"] == ["HT1", "HT2"]
    said = " ".join(firstglow("discharge", standby).stdout.split())
    assert_told(said)
    assert "with S2 open, below 60 V, 10 V: C2 never, never" in said
    assert max(map(len, firstglow("discharge", standby).stdout.splitlines())) <= 80


def assert_told(said: str) -> None:
    assert "Close S2 first" in said and "HT1 at 0 V tells nothing of HT2" in said
    assert "Read HT1 and HT2 before the resistor goes on" in said


def test_a_start_ends_with_it_too(tmp_path: Path) -> None:
    """Example (b), a cold start of which takes a fifth of the time: the switch between its can's two halves."""
    old = 'R1 = ["270R 5W 5%", "HT1", "HT2"]'
    text = B.read_text()
    assert text.count(old) == 1
    file = tmp_path / B.name
    file.write_text(text.replace(old, f'S2 = ["standby switch", "HT1", "HT1s"]\n{old.replace("HT1", "HT1s")}'))
    assert_told(" ".join(firstglow("start", file).stdout.split()))


def test_the_bleeder_goes_where_nothing_drains(standby: Path) -> None:
    """Behind the switch: with its ohms (5 % over) those capacitors are below 60 V within a minute by RC, and none is across C1,
    which R1 empties."""
    a = load(standby)
    bled = {r["part"]: r["bleeder"] for r in answer(standby)["capacitors"] if r["bleeder"]}
    assert set(bled) == {"C2"}
    farads = sum(high(a, n, "farads") for n in BEHIND)
    volts = max(r["volts"] for r in answer(standby)["capacitors"] if r["part"] in BEHIND)
    assert 1.05 * bled["C2"]["ohms"] * farads * math.log(volts / 60.0) < 60.0
    opened = {r["part"]: r["bleeder"] for r in answer(standby, "--open", "S2")["capacitors"] if r["bleeder"]}
    assert set(opened) == {"C2"}


def test_a_link_that_parts_nothing_is_no_word_more() -> None:
    """Example (c): its HT link lies ahead of the reservoir and its bleeder."""
    assert answer(C)["parted"] == []
    assert "first, plug out" not in firstglow("discharge", C).stdout
