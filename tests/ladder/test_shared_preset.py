"""One preset for two output valves, and fewer meters than valves: no cathode waits for its neighbour's hour, and the sheet
says who runs unwatched meanwhile.

A valve with gas or a leak at its grid runs away within minutes of being turned up (common practice), whichever of the
two the meter happens to be on."""

from functools import cache
from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.amplifier.bench import Bench
from firstglow.ladder.ladder import Ladder
from firstglow.readings.taken import parse_taken
from firstglow.readings.verdict import verdict

DATA = Path(__file__).parents[1] / "data" / "pair-on-one-pot.toml"
EXAMPLES = Path(__file__).parents[2] / "examples"


@cache
def ladder(meters: int, file: Path = DATA) -> Ladder:
    return built(load(file), Bench(meters_at_once=meters), mode="fast")


def rung(meters: int, name: str, file: Path = DATA) -> dict:
    return next(r for r in ladder(meters, file).document["rungs"] if r["id"] == name)


def rows(found: dict, word: str) -> list[tuple[str, int]]:
    """(valve and word, round) of the rows whose name has the word, in order."""
    return [(r["id"].split("/")[1], r["clip_group"]) for r in found["readings"] if word in r["id"]]


@pytest.mark.parametrize("meters", [1, 2])
def test_both_valves_of_one_preset_are_read_at_first_idle_before_anything_is_turned_further(meters: int) -> None:
    found = rows(rung(meters, "6"), "cathode at half idle")
    assert [name for name, _ in found] == ["V2 cathode at half idle", "V3 cathode at half idle"]
    assert found[1][1] - found[0][1] == (1 if meters == 1 else 0)
    gate = rung(meters, "6")["hold"]["text"]
    assert gate.startswith("Every output valve follows the preset that moves it")


@pytest.mark.parametrize("meters", [1, 2])
def test_with_the_lamp_out_every_cathode_comes_before_any_other_clip(meters: int) -> None:
    lamp_out = [
        r["id"].split("/")[1]
        for r, e in zip(rung(meters, "6")["readings"], expected(meters, "6"), strict=True)
        if e.planned.situation.lamp_watts is None and e.planned.under_power
    ]
    assert lamp_out[:2] == ["V2 cathode lamp out", "V3 cathode lamp out"]


def expected(meters: int, name: str) -> tuple:
    return next(r for r in ladder(meters).expected.rungs if r.id == name).readings


def test_two_meters_read_the_pair_at_every_moment_in_one_round() -> None:
    found = rows(rung(2, "9"), "cathode after")
    assert [int(name.split()[3]) for name, _ in found] == [10, 10, 30, 30, 60, 60]
    assert len({group for _, group in found}) == 1


def test_one_meter_reads_each_valve_at_each_moment_and_keeps_its_clip_into_the_next() -> None:
    """The moments in their order; four rounds, where each moment from the first valve on would take six."""
    found = rows(rung(1, "9"), "cathode after")
    want = [("V2", 10, 0), ("V3", 10, 1), ("V3", 30, 1), ("V2", 30, 2), ("V2", 60, 2), ("V3", 60, 3)]
    first = found[0][1]
    assert found == [(f"{v} cathode after {m} min", first + n) for v, m, n in want]
    times = [r.planned.settle_seconds for r in expected(1, "9") if "cathode after" in r.id]
    assert times == sorted(times)


def test_a_neighbour_that_follows_the_shared_preset_is_no_crossed_control() -> None:
    first = next(r for r in rung(2, "6")["readings"] if "cathode at half idle" in r["id"])
    assert not any("partner follows" in text for text in first["check_first"])
    assert any("V2 with gas" in text for text in first["check_first"])


def test_it_is_said_what_the_preset_moves_and_what_watches_the_valve_without_a_clip() -> None:
    one, two = (" ".join(rung(meters, "6")["before"]) for meters in (1, 2))
    assert "P1 moves V2 and V3 together" in one and "P1 moves V2 and V3 together" in two
    assert "eyes on the plates without a clip and on the line amps" in one
    assert "a clip on each of their cathodes before it is turned" in two
    assert "P1 moves V2 and V3 together" in " ".join(rung(1, "9")["before"])
    assert "moves" not in " ".join(rung(2, "6a", EXAMPLES / "a-linden-twin.toml")["before"])  # one preset a valve


@pytest.mark.parametrize(("meters", "all_at_once"), [(1, False), (2, True), (4, True)])
def test_clips_before_power_are_as_many_as_there_are_meters(meters: int, all_at_once: bool) -> None:
    told = " ".join(rung(meters, "6")["before"])
    assert ("Clips on the cathodes of all of them before power" in told) == all_at_once
    assert ("one meter watches one valve" in told) == (meters == 1)
    assert ("run unwatched meanwhile" in told) != all_at_once


@cache
def needle() -> Ladder:
    return built(load(DATA), Bench(meters_at_once=1), meter="20k", mode="fast")


def test_a_needle_meets_first_current_on_a_high_range() -> None:
    """A shorted valve, or an open sense resistor, puts up to all of HT on the cathode: half a volt full scale would be thrown."""
    for word in ("cathode lamp in", "cathode lamp out"):
        for valve in ("V2", "V3"):
            reading = needle().expected.by_id[f"6/{valve} {word}/shared"]
            assert reading.on is not None and reading.start is not None, reading.id
            assert reading.start.full >= float(str(needle().expected.by_id["6/HT1/shared"].shown).split()[0])
            assert reading.on.full < 10.0
            assert reading.how.startswith(f"start at {reading.start.text}, step down to ")
    # V3 of a shared preset was turned up while the meter was on V2; V2 is watched all the way
    assert needle().expected.by_id["6/V3 cathode at half idle/shared"].start is not None
    assert needle().expected.by_id["6/V2 cathode at half idle/shared"].start is None


def test_a_needle_at_rest_on_the_high_range_passes_no_first_current() -> None:
    name = "6/V2 cathode lamp out/shared"
    typed = parse_taken(f'[readings]\n"{name}" = {{ value = "0" }}\n')
    found = verdict(needle().expected, typed).verdicts[0]
    assert found.verdict == "look first" and "step down" in found.why


def test_a_digital_meter_reads_first_current_at_once() -> None:
    assert ladder(1).expected.by_id["6/V2 cathode lamp out/shared"].start is None
