"""The compiled library against numpy, which does the same without it: every result, every slope, on random problems.

What numpy gives is held to waveforms, closed forms and handbook rows elsewhere (test_averaged_waveform.py and others, which run on
the library where it is there); the elimination is held here to LAPACK, which shares nothing with either.
"""

import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.sparse import csr_array

from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.readings.spreads import draw
from firstglow.solver.averaged import Averaged, Cell, Inputs, Leg, averaged
from firstglow.solver.cells import Along
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.compiled import build, cycle, elimination, library
from firstglow.solver.elimination import plan_elimination

EXAMPLES = Path(__file__).parents[2] / "examples"
N = 203  # no whole number of blocks


def test_where_there_is_a_compiler_the_library_is_there_and_of_this_source() -> None:
    if shutil.which("cc") is None:
        pytest.skip("no C compiler on this machine: numpy does it all")
    assert library.library() is not None, f"run: {sys.executable} {build.__file__}"


needs_library = pytest.mark.skipif(library.library() is None, reason="the library is not built: numpy does it all")


@pytest.fixture
def plain(monkeypatch: pytest.MonkeyPatch) -> pytest.MonkeyPatch:
    """Call ``plain.setattr`` no more: from here on numpy does it all."""
    for module in (cycle, elimination):
        monkeypatch.setattr(module, "library", lambda: None)
    return monkeypatch


PAIR = (Leg(1), Leg(-1))
CELLS = {
    "two plates": Cell(PAIR),
    "one plate for two": Cell((Leg(1),), equal=True),
    "a bridge": Cell((Leg(1, "junction"),), equal=True),
    "half wave, the other way up": Cell((Leg(-1, "junction"),)),
    "valve and silicon": Cell((Leg(1), Leg(-1, "junction"))),
    "two of one phase and one against": Cell((Leg(1), Leg(1, "junction"), Leg(-1))),
}


def _inputs(cell: Cell, rng: np.random.Generator, kind: str) -> Inputs:
    legs = len(cell.legs)
    log = lambda low, high, *shape: np.exp(rng.uniform(np.log(low), np.log(high), shape))  # noqa: E731
    emf = log(5.0, 500.0, N) * rng.uniform(0.97, 1.03, (legs, N))
    junction = np.array([[leg.law == "junction"] for leg in cell.legs])
    x = Inputs(
        emf.max(axis=0) * 2**0.5 * rng.uniform(0.3, 1.02, N), emf, log(5.0, 2e3, legs, N),
        np.where(junction, log(0.04, 0.6, legs, N), log(1e-4, 4e-3, legs, N)),
        np.where(junction, log(1e-9, 1e-6, legs, N), log(0.02, 3.0, legs, N)),
        log(5e-6, 3e-4, N), np.full(N, 50.0), drain=log(1e-6, 1e-3, N),
    )  # fmt: skip
    if kind == "leaking":
        return replace(x, leak=log(1e3, 1e9, legs, N))
    if kind == "reversed":
        return replace(x, sense=np.where(rng.random((legs, N)) < 0.3, -1.0, 1.0), leak=log(1e5, 1e9, legs, N))
    if kind == "with its own resistance":
        return replace(x, esr=log(0.1, 30.0, N))
    if kind == "hardly any reservoir":
        return replace(x, farads=log(1e-9, 1e-6, N), volts=emf.max(axis=0) * rng.uniform(0.3, 0.9, N))
    return x


def _ways(cell: Cell, rng: np.random.Generator) -> list[Along]:
    shape = (len(cell.legs), N)
    return [
        Along(emf=rng.normal(size=shape)), Along(ohms=rng.normal(size=shape)),
        Along(scale=rng.normal(size=shape) * 1e-3, limit=rng.normal(size=shape) * 1e-9), Along(),
    ]  # fmt: skip


def _off(one: Averaged, two: Averaged, names: Sequence[str]) -> dict[str, float]:
    """How far two results are apart, over the largest of their kind."""
    out = {}
    for name in names:
        a, b = getattr(one, name), getattr(two, name)
        out[name] = float(np.max(np.abs(a - b) / (np.abs(a).max(axis=-1, keepdims=True) + 1e-300)))
    return out


RESULTS = ("each_amps", "each_in_phase", "each_square", "d_amps", "d_in_phase", "d_square")


@needs_library
@pytest.mark.parametrize("kind", ["sound", "leaking", "reversed", "with its own resistance", "hardly any reservoir"])
@pytest.mark.parametrize("name", CELLS)
def test_a_cycle_is_numpys_cycle(name: str, kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    cell, rng = CELLS[name], np.random.default_rng(sum(map(ord, name + kind)))
    x, ways = _inputs(cell, rng, kind), _ways(cell, rng)
    found = averaged(cell, x, along=ways)
    assert isinstance(found.carry, cycle.Moves)
    with monkeypatch.context() as patch:
        patch.setattr(cycle, "library", lambda: None)
        known = averaged(cell, x, along=ways)
        assert not isinstance(known.carry, cycle.Moves)
        # from one and the same state one pass has nothing that could go another way
        step = averaged(cell, replace(x, volts=1.001 * x.volts), known.state, 1, ways)
    again = averaged(cell, replace(x, volts=1.001 * x.volts), known.state, 1, ways)
    settled = (known.unsettled < 1e-10) & (found.unsettled < 1e-10)
    assert settled.mean() > 0.9  # where legs without a reservoir alternate for ever, neither comes to rest
    np.testing.assert_allclose(found.state[:-1, settled], known.state[:-1, settled], rtol=0, atol=1e-6)
    size = np.abs(step.state).max()
    assert np.abs(again.state - step.state)[:, settled].max() < 1e-11 * size
    for result in RESULTS:
        one, two = (np.asarray(getattr(run, result))[..., settled] for run in (step, again))
        scale = np.abs(one).max() if one.ndim == 2 else np.abs(one).max(axis=(0, 2), keepdims=True)
        assert np.all(np.abs(one - two) <= 1e-9 * scale + 1e-15), result
    by = rng.normal(size=(1 + len(ways), N)) * 1e-3
    moved = [np.asarray(run.carry.state(run.state, by[0], by[1:])) for run in (step, again) if run.carry is not None]
    assert np.abs(moved[0] - moved[1])[:, settled].max() < 1e-9 * size


@needs_library
def test_a_sample_does_not_depend_on_its_neighbours() -> None:
    cell, rng = CELLS["two plates"], np.random.default_rng(5)
    x = _inputs(cell, rng, "sound")
    whole = averaged(cell, x)
    for k in (0, 7, 8, N - 1):
        one = {
            f: getattr(x, f)[..., k : k + 1]
            for f in ("volts", "emf", "ohms", "scale", "limit", "farads", "hertz", "drain")
        }
        alone = averaged(cell, replace(x, **one))
        np.testing.assert_allclose(alone.each_amps[:, 0], whole.each_amps[:, k], rtol=1e-9)


@needs_library
@pytest.mark.parametrize("kind", [float, complex])
@pytest.mark.parametrize("transposed", [False, True])
@pytest.mark.parametrize("samples", [1, 7, 32, 75])
def test_an_elimination_is_lapacks(kind: type, transposed: bool, samples: int) -> None:
    rng = np.random.default_rng(samples)
    size = 24
    pattern = {(i, j) for i, j in rng.integers(0, size, (60, 2))} | {(i, i) for i in range(size)}
    program = plan_elimination(size, [(int(i), int(j)) for i, j in pattern])
    matrix = np.zeros((samples, size, size), dtype=kind)
    slots = np.zeros((program.slots, samples), dtype=kind)
    for (i, j), slot in list(program.slot.items())[: program.entries]:
        value = rng.normal(size=samples) + (12.0 if i == j else 0.0)
        slots[slot] = value if kind is float else value + 1j * rng.normal(size=samples)
        matrix[:, i, j] = slots[slot]
    sides = rng.normal(size=(size, 3, samples)).astype(kind)
    before = slots.copy()
    factors = program.factored(slots)
    assert factors.compiled
    if transposed:
        matrix = matrix.transpose(0, 2, 1)
    known = np.linalg.solve(matrix, sides.transpose(2, 0, 1)).transpose(1, 2, 0)
    for b in (sides.copy(), np.asfortranarray(sides)):  # as the library reads it, and in another order
        factors.solve(b, transposed)
        np.testing.assert_allclose(b, known, rtol=0, atol=1e-12 * np.abs(known).max())
    one = sides[:, 0].copy()
    factors.solve(one, transposed)
    np.testing.assert_allclose(one, known[:, 0], rtol=0, atol=1e-12 * np.abs(known).max())
    np.testing.assert_array_equal(slots, before)  # a second right side finds the matrices as they were


@needs_library
def test_a_sparse_product_is_the_dense_one() -> None:
    rng = np.random.default_rng(4)
    dense = rng.normal(size=(12, 17)) * (rng.random((12, 17)) < 0.2)
    dense[3] = 0.0
    x, base = rng.normal(size=(17, 41)), rng.normal(size=(12, 41))
    table = elimination.table_of(csr_array(dense))
    np.testing.assert_allclose(elimination.product(table, x), dense @ x, atol=1e-14)
    np.testing.assert_allclose(elimination.product(table, x, base), base + dense @ x, atol=1e-14)
    # columns of a larger table, not in one piece
    np.testing.assert_allclose(
        elimination.product(table, x[:, 3:5], base[:, 3:5]), base[:, 3:5] + dense @ x[:, 3:5], atol=1e-14
    )
    with pytest.raises(ValueError, match="one piece"):
        elimination.solve(elimination.program_of(()), base[:, 3:5], base[:, 3:5])


@needs_library
@pytest.mark.parametrize("kind", [float, complex])
def test_a_wrong_solution_is_found_in_whatever_sample_and_row(kind: type) -> None:
    rng = np.random.default_rng(8)
    size, sides, samples = 9, 2, 75
    full = rng.normal(size=(samples, size, size)).astype(kind) + 6.0 * np.eye(size)
    full[:, 2, 5] = full[:, 7, 0] = 0.0
    if kind is complex:
        full += 1j * rng.normal(size=full.shape) * (full != 0.0)
    entries = [(i, j) for i in range(size) for j in range(size) if full[0, i, j] != 0.0]
    begins = [sum(i < row for i, _ in entries) for row in range(size + 1)]
    numbers = (begins, [j for _, j in entries], [entries.index((k, k)) for k in range(size)])
    rows = elimination.Rows(*(np.array(part, dtype=np.int32) for part in numbers))
    values = np.array([full[:, i, j] for i, j in entries])
    b = rng.normal(size=(size, sides, samples)).astype(kind)
    x = np.ascontiguousarray(np.linalg.solve(full, b.transpose(2, 0, 1)).transpose(1, 2, 0))
    assert not elimination.missed(rows, values, x, b, 1e-7).any()
    off = (0, 31, 32, 60, 74)
    for k, sample in enumerate(off):
        x[(2 * k) % size, k % sides, sample] *= 1.0 + 1e-4
    x[3, 1, 10], x[4, 0, 11] = np.nan, np.inf
    found = elimination.missed(rows, values, x, b, 1e-7)
    assert sorted(np.flatnonzero(found)) == sorted((*off, 10, 11))


@needs_library
@pytest.mark.parametrize("example", ["a-linden-twin", "b-hazel-four", "c-sorrel-twenty"])
def test_a_whole_amplifier_stands_alike_with_and_without(example: str, plain: pytest.MonkeyPatch) -> None:
    circuit = compile_circuit(load(EXAMPLES / f"{example}.toml"))
    laid = circuit.apply(draw(circuit, 40, 0.03, 3).values, Situation(230.0))
    without = circuit.solve(laid)
    plain.undo()
    assert library.library() is not None
    found = circuit.solve(laid)
    assert found.settled.all()
    assert without.settled.all()
    names = [j for j in circuit.amplifier.joints if np.abs(without.dc(j)).max() > 1e-3]
    for joint in names:
        np.testing.assert_allclose(found.dc(joint), without.dc(joint), rtol=1e-9, atol=1e-9)


def test_one_of_another_source_or_not_wanted_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ask = "from firstglow.solver.compiled.library import library; print(library() is None)"
    told = subprocess.run(
        [sys.executable, "-c", ask],
        env={"FIRSTGLOW_PLAIN": "1", "PATH": ""},
        capture_output=True,
        text=True,
        check=True,
    )
    assert told.stdout.strip() == "True"
    monkeypatch.setattr(library, "digest", lambda: "another")
    library.library.cache_clear()
    try:
        assert library.library() is None
    finally:
        monkeypatch.undo()
        library.library.cache_clear()


def test_without_a_compiler_nothing_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("CC", raising=False)
    assert build.build().startswith("no C compiler")
