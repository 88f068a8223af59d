"""What only a meter shows names the meter, a lamp its watts, and one meter is no "1 meters"."""

from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.amplifier.bench import Bench
from firstglow.ladder.ladder import Ladder

EXAMPLES = Path(__file__).parents[2] / "examples"
TWIN, TWENTY = EXAMPLES / "a-linden-twin.toml", EXAMPLES / "c-sorrel-twenty.toml"
LAMPS = Bench(variable_transformer=False, lamps=(60.0, 100.0), meters_at_once=1)


@pytest.fixture(scope="module")
def ladder() -> Ladder:
    return built(load(TWENTY), LAMPS, mode="fast")


def test_what_only_a_meter_shows_is_not_for_eyes_ears_and_nose() -> None:
    rows = [r for r in built(load(TWIN), mode="fast").expected.readings() if "warm-up" in r.id or "bias first" in r.id]
    assert {r.id.split("/")[0] for r in rows} == {"4", "10"}
    assert all("meter" in r.planned.red_at and "eyes" not in r.planned.red_at for r in rows)


def test_lamps_are_named_by_their_watts_and_one_meter_is_one(ladder: Ladder) -> None:
    said = [text for rung in ladder.document["rungs"] for text in (rung["title"], *rung["before"])]
    assert not [t for t in said if "small lamp" in t or "normal lamp" in t or "1 meters" in t]
    assert any("through the 60 W lamp" in t for t in said)
    assert any("one meter and leads" in t for t in said)
