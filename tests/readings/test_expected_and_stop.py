"""No healthy amplifier is told to switch off by what it is expected to read, and no meter passes what it cannot see.

Every example, published circuit and test topology that has a ladder: the examples with a digital meter and needles, the others
with one of the three meters in turn, so that each meter reads fixed and cathode bias. What a meter may be wrong by is reckoned
here again from its class (common practice),
not asked of the ranges.
"""

from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from at_hand import built
from builders import single_ended_cathode
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier, AmplifierError
from firstglow.ladder.ladder import Ladder
from firstglow.readings.expected import ExpectedReading
from firstglow.readings.meters import Range
from firstglow.readings.taken import Taken, TakenFile
from firstglow.readings.verdict import judge
from ladder.topologies import topology

ROOT = Path(__file__).parent.parent.parent
EVERY = [
    *sorted((ROOT / "examples").glob("**/*.toml")),
    ROOT / "tests" / "data" / "back-bias.toml",
]
FRAGMENTS = [f for f in EVERY if "fragment = true" in f.read_text(encoding="utf-8")]
FILES = {f.stem: f for f in EVERY if f not in FRAGMENTS}
# back bias on silicon; cathode bias behind a bridge; a grid above its cathode as drawn
TOPOLOGIES = (0, 3, 11)
BUILT = {"single-ended cathode": single_ended_cathode}
METERS = ("digital", "20k", "1k")
OURS = [n for n in FILES if n[:2] in ("a-", "b-", "c-")]
OTHERS = [n for n in (*FILES, *BUILT, *(f"topology {s}" for s in TOPOLOGIES)) if n not in OURS]
NEEDLES = {"a": ("1k",), "b": ("20k", "1k"), "c": ("20k",)}
CASES = [(n, m) for n in OURS for m in ("digital", *NEEDLES[n[0]])]
CASES += [(n, METERS[(k + 1) % 3]) for k, n in enumerate(OTHERS)]
# Limits that give way to the band by design: a fraction of what is expected, not a rating.
# A rating stands also where the drawing itself is past it: the words say so, and that the mains or the part must change.
AS_DRAWN = "as drawn it stands past that before anything is wrong"
SOFT = {"ratio", "ratio to", "path", "hum", "slow fall", "at supply"}


def amplifier(name: str) -> Amplifier:
    if name in FILES:
        return load(FILES[name])
    return BUILT[name]() if name in BUILT else topology(int(name.removeprefix("topology ")))[1]


@cache
def ladder(name: str, meter: str) -> Ladder:
    return built(amplifier(name), meter=meter, mode="fast")


def figures(made: Ladder) -> Iterator[tuple[ExpectedReading, float]]:
    for reading in made.expected.readings():
        if isinstance(reading.expected, float) and reading.on is not None:
            yield reading, reading.expected


def wrong_by(on: Range, value: float) -> float:
    """A needle: 2.5 % (dc), 4 % (ac) of full scale, half a division of 50 either way; digital: of reading, and counts."""
    if on.of_full:
        return on.of_full * on.full + on.full / 200
    return on.of_reading * abs(value) + (on.counts + 0.5) * on.step


def answer(made: Ladder, reading: ExpectedReading, value: float) -> str:
    row = Taken(reading.id, f"{value:.6f}")
    return judge(made.expected, reading, row, TakenFile((row,))).verdict


@pytest.mark.parametrize(("name", "meter"), CASES)
def test_what_is_expected_is_short_of_every_stop(name: str, meter: str) -> None:
    made = ladder(name, meter)
    stopped = [
        (reading.id, value, stop.limit, stop.why)
        for reading, value in figures(made)
        for stop, side in ((reading.stop_below, -1), (reading.stop_above, 1))
        if stop is not None and (stop.limit - value) * side <= 0.0 and AS_DRAWN not in stop.why
    ]
    assert stopped == []
    told = [r.id for r, value in figures(made) if answer(made, r, value) == "switch off now"]
    past = [r.id for r, _ in figures(made) for s in (r.stop_below, r.stop_above) if s is not None and AS_DRAWN in s.why]
    assert set(told) <= set(past)


@pytest.mark.parametrize(("name", "meter"), CASES)
def test_a_stop_inside_the_healthy_band_is_flagged_and_what_separates_them_is_named(name: str, meter: str) -> None:
    made = ladder(name, meter)
    for reading, _ in figures(made):
        for stop, inside in (
            (reading.stop_below, reading.low is not None and reading.stop_below is not None and reading.stop_below.limit > reading.low),
            (reading.stop_above, reading.high is not None and reading.stop_above is not None and reading.stop_above.limit < reading.high),
        ):  # fmt: skip
            if stop is not None and inside:
                assert stop.cut and stop.separate, (reading.id, stop)


@pytest.mark.parametrize(("name", "meter"), CASES)
def test_no_row_passes_where_this_meter_cannot_tell_healthy_from_the_stop(name: str, meter: str) -> None:
    made = ladder(name, meter)
    usual = meter == "digital"
    passed = []
    for reading, value in figures(made):
        assert reading.on is not None
        rules = {rule.rule for rule in reading.planned.stops}
        if rules & SOFT or reading.note_only or reading.on.unit == "ohm":
            continue
        for stop in (reading.stop_below, reading.stop_above):
            # what the drawing itself is past is told as a finding, and no meter hides it
            if stop is None or (usual and stop.cut) or AS_DRAWN in stop.why:
                continue
            apart = abs(stop.limit - value) + reading.on.step
            errors = wrong_by(reading.on, value) + wrong_by(reading.on, stop.limit)
            if apart < errors and answer(made, reading, value) == "go on":
                passed.append((reading.id, reading.on.text, value, stop.limit))
    assert passed == []


@pytest.mark.parametrize(("name", "meter"), CASES)
def test_nothing_passes_where_nothing_may_stand_and_the_range_would_not_show_it(name: str, meter: str) -> None:
    made = ladder(name, meter)
    passed = []
    for reading, _ in figures(made):
        on, at = reading.on, reading.planned.situation
        limits = [rule.limit for rule in reading.planned.stops if rule.rule == "zero" and rule.limit is not None]
        if on is None or not limits or abs(reading.ground.true) > min(limits):
            continue
        # unplugged a charged capacitor is behind the joint, and no resistor
        left = 1.0 if at.mains_volts == 0.0 else on.input_ohms / (on.input_ohms + reading.source_ohms)
        if min(limits) * left < wrong_by(on, 0.0) and answer(made, reading, 0.0) == "go on":
            passed.append((reading.id, on.text))
        if reading.start is not None and answer(made, reading, 0.0) == "go on":
            passed.append((reading.id, f"without its range, started on {reading.start.text}"))
    assert passed == []


@pytest.mark.parametrize("file", FRAGMENTS, ids=lambda f: f.stem)
def test_a_fragment_has_no_ladder_to_pass(file: Path) -> None:
    with pytest.raises(AmplifierError, match="fragment"):
        built(load(file), mode="fast")


def test_a_back_biased_grid_stops_at_half_its_bias() -> None:
    # the grid stands at minus current times the resistor in the HT minus (common practice: half of it missing is a stop)
    made = ladder("back-bias", "digital")
    grids = [r for r in made.expected.readings() if r.id.startswith(("4/V2 grid", "6/V2 grid", "9/V2 grid"))]
    assert len(grids) >= 4
    for reading in grids:
        assert isinstance(reading.expected, float)
        assert reading.expected < -0.1
        assert reading.stop_above is not None
        assert reading.expected < reading.stop_above.limit < 0.0
        assert reading.stop_above.limit == pytest.approx(reading.expected / 2, rel=0.02)
