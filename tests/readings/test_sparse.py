"""A sparse file of 25 lines against the whole of the first example (``benchmarks/sparse`` prints the same at length)."""

from pathlib import Path

import pytest
from sparse_file import matches, narrowed, with_measured

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder

ROOT = Path(__file__).parents[2]
TEXT = (ROOT / "tests" / "data" / "linden-sparse.toml").read_text(encoding="utf-8")
SAMPLES = 1000  # half of what is printed; benchmarks/sparse has all of it: a tail that a few amplifiers make needs them


@pytest.fixture(scope="module")
def full() -> Ladder:
    return built(load(ROOT / "examples" / "a-linden-twin.toml"), mode="fast")


@pytest.fixture(scope="module")
def sparse() -> Ladder:
    return built(load(TEXT), samples=SAMPLES)


def test_a_sparse_file_makes_the_same_rungs(full: Ladder, sparse: Ladder) -> None:
    assert len(TEXT.strip().splitlines()) <= 25
    kinds = [[(r.id, r.planned.title) for r in ladder.expected.rungs] for ladder in (full, sparse)]
    assert kinds[0] == kinds[1]


def test_its_bands_hold_the_full_files_answers(full: Ladder, sparse: Ladder) -> None:
    """The full file is the amplifier that the sparse one leaves open: 99 in 100 of its answers lie in the bands. Not
    inside: the first grid's ohms, whose volume control is not among the 25 lines."""
    found = list(matches(full, sparse))
    outside = [m.sparse.id for m in found if not m.inside]
    assert len(found) > 320
    assert len(outside) <= 0.01 * len(found), outside
    assert set(outside) <= {"1/V1 grid to chassis/left", "1/V5 grid to chassis/right"}


def like(name: str) -> tuple[str, str]:
    """What an id has in common with those of equal parts: the step (6 of 6a and 6b), and the probe without the part's name."""
    rung, probe, _ = name.split("/")
    return rung.rstrip("ab"), probe.partition(" ")[2]


def test_a_measured_value_narrows_what_hangs_on_it_and_nothing_else(sparse: Ladder) -> None:
    """A sense resistor of 10 % (a file that says nothing of it), then read: variance shares add (JCGM 100:2008, 5.1.2), so a
    band keeps sqrt(1 - share) of its width, shapes apart; a reading that the part does not move keeps its band."""
    after = built(load(with_measured(TEXT, "V3 cathode R", '"10R0"')), samples=SAMPLES)
    rows = list(narrowed(sparse, after, "V3 cathode R"))
    own = {n.id: n for n in rows if n.share > 0.3}
    assert "1/V3 cathode/left" in own
    for n in own.values():
        assert n.after < n.before * ((1.0 - n.share) ** 0.5 + 0.15), n
    # the twin or the pair's other valve of what was measured is its like no more: its ends are its own samples' now, and move
    # by their chance
    hang = {like(n.id) for n in rows if n.share > 0.0}
    still = [n for n in rows if n.share == 0.0 and like(n.id) not in hang]
    assert len(still) > 200
    assert all(n.after == pytest.approx(n.before, rel=1e-6) for n in still)
    assert [n for n in rows if not n.inside] == []
