"""What readings say together: the lean of one part, against the normal equations, and what it costs healthy amplifiers."""

from pathlib import Path

import numpy as np
import pytest

from at_hand import built
from firstglow.amplifier import load
from firstglow.ladder.ladder import Ladder
from firstglow.readings.given import Given, joint
from firstglow.readings.learn import leaning
from firstglow.readings.one_cause import OneCause, one_cause
from firstglow.readings.verdict import Verdict

EXAMPLE = Path(__file__).parents[2] / "examples" / "b-hazel-four.toml"
READINGS, PARTS = 40, 12
IDS = [f"{1 + i // 10}/{i}/shared" for i in range(READINGS)]


def world(samples: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Readings of amplifiers that a dozen parts move along straight lines, each with a little of its own, and those lines."""
    moves = np.random.default_rng(9).normal(size=(READINGS, PARTS))
    rng = np.random.default_rng(seed)
    return moves @ rng.normal(size=(PARTS, samples)) + 0.6 * rng.normal(size=(READINGS, samples)), moves


def made(powered: np.ndarray | None = None) -> OneCause:
    y, moves = world(4000, 1)
    power = np.ones(READINGS, dtype=bool) if powered is None else powered
    return one_cause(joint(IDS, y), [(f"R{k}", "resistor") for k in range(PARTS)], moves, y, power)


def standard(given: Given, y: np.ndarray) -> np.ndarray:
    return (y - given.middle[:, None]) / given.sigma[:, None]


def sound(y: np.ndarray) -> np.ndarray:
    return np.ones(y.shape, dtype=bool)


def test_a_lean_is_the_generalised_least_squares_estimate_over_its_own_error() -> None:
    """Of readings t with covariance C and a part that moves them by s: (s' C^-1 t) / sqrt(s' C^-1 s), solved as one system for
    the readings up to each gate (A. C. Aitken, Proc. Roy. Soc. Edinburgh 55 (1935) 42; from memory)."""
    cause = made()
    t = standard(cause.given, world(3, 5)[0])
    for number, gate in enumerate(cause.gates):
        c, s = cause.given.covariance[: gate + 1, : gate + 1], cause.moves[: gate + 1]
        wanted = (s.T @ np.linalg.solve(c, t[: gate + 1])) / np.sqrt((s * np.linalg.solve(c, s)).sum(axis=0))[:, None]
        edge = np.abs(wanted) / cause.reach[number][:, None]
        for k in range(3):
            read = dict(zip(IDS, t[:, k] * cause.given.sigma + cause.given.middle, strict=True))
            for most in (0.99, 1.01):
                own = OneCause(cause.given, cause.parts, cause.moves, cause.powered, cause.gates, cause.reach,
                               most * edge[:, k].max())  # fmt: skip
                lean = own.at(IDS[gate], read)
                assert (lean is None) == (most > 1.0)
                if lean is not None:
                    assert lean.parts[0] == f"R{edge[:, k].argmax()}"


def test_a_part_that_no_single_reading_shows_is_named() -> None:
    """Four of its own deviations more than its spread: every reading stays within three and a half of its own, and fits those
    before it."""
    cause = made()
    found = 0
    for k in range(PARTS):
        y, moves = world(20, 30 + k)
        t = standard(cause.given, y + 6.0 * moves[:, [k]])
        quiet = ~cause.given.misfits(t, sound(t)).any(axis=0) & (np.abs(t) < 4.5).all(axis=0)
        for n in np.flatnonzero(quiet):
            read = dict(zip(IDS, t[:, n] * cause.given.sigma + cause.given.middle, strict=True))
            lean = cause.at(IDS[-1], read)
            found += lean is not None and lean.parts[0] == f"R{k}"
    assert found > 100


def test_healthy_ones_lean_like_nothing() -> None:
    cause = made()
    y, _ = world(20_000, 2)
    t = standard(cause.given, y)
    assert cause.leaning(t, sound(t)).any(axis=0).mean() <= 0.005


def test_what_the_unplugged_ohms_say_they_say_by_themselves() -> None:
    powered = np.arange(READINGS) >= 10
    cause = made(powered)
    assert cause.gates == (19, 29, 39)
    y, moves = world(400, 3)
    t = standard(cause.given, y)
    t[:10] += 8.0 * (moves / cause.given.sigma[:, None])[:10, [0]]
    # what is left of the powered ones once the ohms are known is what it was of a part whose ohms are as these
    before, after = (cause.leaning(x, sound(x)) for x in (standard(cause.given, y), t))
    far = np.zeros_like(t, dtype=bool)
    far[:10] = True
    left_out = cause.leaning(t, ~far)
    assert before.mean() < 0.01
    assert not left_out.any()  # one that is in doubt is looked at first
    assert after.any()  # powered readings that do not follow what the ohms say are told


def test_once_one_is_unsound_nothing_is_said() -> None:
    """What it is off by would be laid to other parts. Up to it, and where a reading was only left out, ``at`` says the same."""
    cause = made()
    y, moves = world(30, 4)
    y[:, ::2] += 7.0 * moves[:, [2]]
    t = standard(cause.given, y)
    good = sound(t)
    good[15, ::3] = False
    told = cause.leaning(t, good)
    assert not told[1:, ::3].any()
    for k in range(t.shape[1]):
        read = {IDS[i]: y[i, k] for i in range(READINGS)}
        said = [cause.at(IDS[gate], read) is not None for gate in cause.gates]
        assert list(told[:, k]) == [one and (n == 0 or bool(good[15, k])) for n, one in enumerate(said)]
    assert told[:, ::2].any()
    assert not told[:, 1::2].any()


def test_readings_left_out_make_no_healthy_one_lean() -> None:
    """A third of them, drawn anew each time, and the unplugged ones: the spread of what is left is never taken for less than it is
    in the model."""
    y, _ = world(4000, 2)
    for powered in (np.ones(READINGS, dtype=bool), np.arange(READINGS) >= 10):
        cause = made(powered)
        t = standard(cause.given, y)
        for seed in range(4):
            kept = np.random.default_rng(seed).random(READINGS) > 0.67
            kept[list(cause.gates)] = True
            part = cause.only(kept)
            assert part.leaning(t[kept], sound(t[kept])).any(axis=0).mean() <= 0.005
        hot = cause.only(powered)
        assert hot.leaning(t[powered], sound(t[powered])).any(axis=0).mean() <= 0.005


@pytest.fixture(scope="module")
def ladder() -> Ladder:
    return built(load(EXAMPLE), samples=600)


def lean_of(ladder: Ladder, name: str, times: float) -> dict[str, float]:
    """Readings of the nominal amplifier with one of its spreads off by so many of its standard deviations, by the slopes."""
    sheet, given = ladder.sheet, ladder.expected.given
    row, number = sheet.found.names.index(name), {r.id: i for i, r in enumerate(sheet.readings)}
    return {
        one: float(given.middle[k] + times * sheet.found.sigmas[row, number[one]]) for k, one in enumerate(given.ids)
    }


def test_a_ladder_names_the_part_at_the_end_of_a_rung_and_not_twice(ladder: Ladder) -> None:
    """A plate load half as large again (eight standard deviations of 10 %), by the slopes; every reading under power in its band."""
    taken = {k: v for k, v in lean_of(ladder, "R6 ohms", 8.0).items() if not k.startswith("1/")}
    expected = ladder.expected
    assert all(expected.by_id[name].low <= v <= expected.by_id[name].high for name, v in taken.items())
    told = []
    for name, value in taken.items():
        v = Verdict(name, str(value), "go on", "", (), value)
        after = leaning(v, expected, taken, ())
        if after.leans:
            told.append(after)
            assert after.verdict == "look first"
            assert leaning(v, expected, taken, after.leans) == v
    assert told
    assert "R6" in told[-1].leans
    assert "R6" in told[-1].why
    assert {v.id for v in told} <= {expected.given.ids[g] for g in expected.cause.gates}


def test_the_nominal_amplifier_leans_like_nothing(ladder: Ladder) -> None:
    taken = lean_of(ladder, "R6 ohms", 0.0)
    assert all(ladder.expected.cause.at(name, taken) is None for name in taken)
