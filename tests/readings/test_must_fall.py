"""Rows on which something must fall have a stop; a stop protects something or is not printed; a gain's band excludes nothing."""

from copy import copy
from pathlib import Path

import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder import frame as frames
from firstglow.ladder.frame import Frame
from firstglow.ladder.ladder import Ladder

ROOT = Path(__file__).parent.parent.parent
FILES = [*sorted((ROOT / "examples").glob("*.toml")), *sorted((ROOT / "examples" / "published").glob("handbook*.toml"))]


@pytest.fixture(scope="module", params=FILES, ids=lambda f: f.stem)
def ladder(request: pytest.FixtureRequest) -> Ladder:
    return built(load(request.param), mode="fast")


def test_what_must_fall_has_a_stop_where_it_has_not_fallen(ladder: Ladder) -> None:
    falls = [r for r in ladder.expected.readings() if r.planned.probe.quantity in ("gain ratio", "volts after")]
    assert {r.planned.probe.quantity for r in falls} == {"gain ratio", "volts after"}
    for reading in falls:
        if reading.planned.note_only:
            # nothing drawn drains it (handbook-10w has no bleeder): leakage alone falls, and no figure is a fault
            assert "Nothing drawn drains this" in reading.planned.note_only
            continue
        assert reading.stop_above is not None, reading.id
        assert isinstance(reading.expected, float)
        if reading.planned.probe.quantity == "gain ratio":
            # 0.95 to 1.05 proves nothing (the house's ladder reference, row 40)
            assert reading.expected < reading.stop_above.limit <= 0.95
        else:
            at = reading.planned
            standing = ladder.frame.physics.joints(at.situation)
            start = abs(standing[at.probe.red][0] - standing[at.probe.black][0])
            assert reading.expected < reading.stop_above.limit < start


def test_a_gain_reads_more_than_nothing_and_not_without_end(ladder: Ladder) -> None:
    gains = [r for r in ladder.expected.readings() if r.planned.probe.quantity == "signal volts"]
    assert gains
    for reading in gains:
        assert reading.low is not None and reading.high is not None and isinstance(reading.expected, float)
        # a dead stage gives nothing; 10 dB up is another amplifier
        assert 0.0 < reading.low < reading.expected < reading.high < 10 ** (10 / 20) * reading.expected


@pytest.mark.parametrize(
    ("file", "meter"), list(zip(FILES[1:4], ("1k", "20k", "digital"), strict=True)), ids=lambda x: Path(x).stem
)
def test_no_stop_below_nothing_where_a_meter_never_shows_less(file: Path, meter: str) -> None:
    for reading in built(load(file), meter=meter, mode="fast").expected.readings():
        if reading.on is not None and not reading.on.signed and reading.stop_below is not None:
            assert reading.stop_below.limit > 0.0, reading.id


class Weak:
    """A physics with a loop of so much gain as wired; a resistor in series divides it."""

    def __init__(self, own: Frame, full: float) -> None:
        self.own, self.full = own, full

    def loop_gain(self, at: object, channel: str | None) -> float:
        ohms = getattr(at, "test_ohms", None) or 0.0
        resistor = next(lp.resistor for lp in self.own.liftable)
        assert resistor is not None
        part = self.own.part(resistor).value("ohms")
        return self.full * part / (part + ohms)


@pytest.mark.parametrize(
    ("full", "tried"), [(0.04, False), (0.06, False), (0.1, True), (0.19, True), (0.25, True), (8.0, True)]
)
def test_a_weak_loop_is_tried_through_a_real_resistor_or_not_at_all(
    full: float, tried: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    frame = copy(built(load(FILES[1]), mode="fast").frame)  # the ladder is shared
    own = frame.part(frame.liftable[0].resistor or "").value("ohms")
    monkeypatch.setattr(frame, "physics", Weak(frame, full))
    frame.__dict__.pop("test_ohms", None)
    ohms = frame.test_ohms
    assert (ohms is not None) == tried
    if ohms is not None:
        gain = full * own / (own + ohms)
        assert gain <= frames.TEST_LOOP_GAIN
        assert ohms >= 0.01 * own
        assert 1.0 / (1.0 + gain) < 0.95 - 0.02  # the fall, clear of what two readings may be wrong by
