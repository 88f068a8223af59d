"""Resistive networks against exact fractions, textbook answers and numpy's pseudo-inverse."""

from fractions import Fraction

import numpy as np
import pytest

from firstglow.solver.laplacian import Laplacian, through


def ohms(joints: int, edges: list[tuple[int, int, float]], a: int, b: int) -> float:
    network = Laplacian(joints, [(i, j) for i, j, _ in edges], np.array([[1.0 / r] for *_, r in edges]))
    return float(network.ohms(a, b)[0])


CUBE = [(i, i ^ bit) for i in range(8) for bit in (1, 2, 4) if i < i ^ bit]


@pytest.mark.parametrize(
    ("far", "expected"),
    [(1, Fraction(7, 12)), (3, Fraction(3, 4)), (7, Fraction(5, 6))],  # edge, face, body: a textbook's cube of 1 ohm
)
def test_cube_of_one_ohm(far: int, expected: Fraction) -> None:
    edges = [(i, j, 1.0) for i, j in CUBE]
    edges = [(i - 1, j - 1, r) for i, j, r in edges]  # corner 0 is the reference
    assert ohms(7, edges, -1, far - 1) == pytest.approx(float(expected), rel=1e-14)


@pytest.mark.parametrize("n", [3, 6, 20])
def test_complete_graph(n: int) -> None:
    """Between any two of n joints that are all joined by 1 ohm: 2/n (resistance distance, Klein and Randic 1993)."""
    edges = [(i - 1, j - 1, 1.0) for i in range(n) for j in range(i + 1, n)]
    assert ohms(n - 1, edges, 0, n - 2) == pytest.approx(2 / n, rel=1e-13)
    assert ohms(n - 1, edges, -1, 1) == pytest.approx(2 / n, rel=1e-13)


def test_ladder_reaches_the_golden_ratio() -> None:
    """An endless ladder of 1 ohm rungs and rails shows (1 + sqrt 5)/2; 40 rungs are endless to 1e-15."""
    rails = [(k, k + 1, 1.0) for k in range(40)]
    rungs = [(k, -1, 1.0) for k in range(1, 41)]
    assert ohms(41, rails + rungs, 0, -1) == pytest.approx((1 + 5**0.5) / 2, rel=1e-14)


def test_bridge_by_hand() -> None:
    """A bridge out of balance, 1 and 2 ohm on one side, 3 and 4 on the other, 5 across: two node equations by hand."""
    r1, r2, r3, r4, r5 = (Fraction(k) for k in (1, 2, 3, 4, 5))
    # (p-1)/r1 + p/r2 + (p-q)/r5 = 0 and (q-1)/r3 + q/r4 + (q-p)/r5 = 0 by Cramer's rule
    a, b = 1 / r1 + 1 / r2 + 1 / r5, 1 / r3 + 1 / r4 + 1 / r5
    det = a * b - 1 / r5**2
    p, q = (b / r1 + 1 / (r5 * r3)) / det, (a / r3 + 1 / (r5 * r1)) / det
    whole = 1 / ((1 - p) / r1 + (1 - q) / r3)
    edges = [(0, 1, 1.0), (1, -1, 2.0), (0, 2, 3.0), (2, -1, 4.0), (1, 2, 5.0)]
    assert ohms(3, edges, 0, -1) == pytest.approx(float(whole), rel=1e-14)
    network = Laplacian(3, [(i, j) for i, j, _ in edges], np.array([[1 / r] for *_, r in edges]))
    volts = network.volts(through(0, -1, 1))[:, 0] / float(whole)
    assert volts[1] == pytest.approx(float(p), rel=1e-14)
    assert volts[2] == pytest.approx(float(q), rel=1e-14)


def random_network(rng: np.random.Generator, joints: int) -> list[tuple[int, int, float]]:
    """A tree and some more, over fourteen decades; every joint is held to the reference by 100 Gohm."""
    edges = [(k, int(rng.integers(-1, k)) if k else -1) for k in range(joints)]
    edges += [tuple(sorted(rng.choice(joints, 2, replace=False).tolist())) for _ in range(joints // 2)]
    decades = 10 ** rng.uniform(-3, 8, len(edges))
    return [(i, j, float(r)) for (i, j), r in zip(edges, decades, strict=True)] + [(k, -1, 1e11) for k in range(joints)]


def exact_ohms(joints: int, edges: list[tuple[int, int, float]], a: int, b: int) -> Fraction:
    """Gauss in exact fractions: no rounding anywhere."""
    g = [[Fraction(0)] * joints for _ in range(joints)]
    for i, j, r in edges:
        s = Fraction(1.0 / r)
        for k in (i, j):
            if k >= 0:
                g[k][k] += s
        if i >= 0 and j >= 0 and i != j:
            g[i][j] -= s
            g[j][i] -= s
    rhs = [Fraction(int(k == a)) - Fraction(int(k == b)) for k in range(joints)]
    for k in range(joints):
        for i in range(k + 1, joints):
            if g[i][k]:
                f = g[i][k] / g[k][k]
                rhs[i] -= f * rhs[k]
                for j in range(k, joints):
                    g[i][j] -= f * g[k][j]
    x = [Fraction(0)] * joints
    for k in reversed(range(joints)):
        x[k] = (rhs[k] - sum(g[k][j] * x[j] for j in range(k + 1, joints))) / g[k][k]
    at = [*x, Fraction(0)]
    return at[a] - at[b]


@pytest.mark.parametrize("seed", range(8))
def test_fourteen_decades_against_exact_fractions(seed: int) -> None:
    rng = np.random.default_rng(seed)
    edges = random_network(rng, 12)
    for _ in range(6):
        a, b = rng.choice(np.arange(-1, 12), 2, replace=False).tolist()
        # 12 eliminations of a few roundings each
        assert ohms(12, edges, a, b) == pytest.approx(float(exact_ohms(12, edges, a, b)), rel=1e-13)


def test_isolated_joints_keep_their_insulation() -> None:
    """Two joints tied by a wire, held by 1e11 ohm each: 5e10 to the reference, where a plain solve has lost digits."""
    edges = [(0, 1, 1e-3), (0, -1, 1e11), (1, -1, 1e11)]
    exact = float(exact_ohms(2, edges, 0, -1))
    assert ohms(2, edges, 0, -1) == pytest.approx(exact, rel=1e-15)
    plain = np.array([[1e3 + 1e-11, -1e3], [-1e3, 1e3 + 1e-11]])
    assert abs(np.linalg.inv(plain)[0, 0] / exact - 1) > 1e-4  # what the subtraction-free elimination is for


def test_against_the_pseudo_inverse_with_a_batch() -> None:
    """Resistance distance = L+ii + L+jj - 2 L+ij (Klein and Randic, J. Math. Chem. 12, 1993), a tame batch."""
    rng = np.random.default_rng(5)
    joints, samples = 15, 7
    edges = [(i, j) for i in range(joints) for j in range(i + 1, joints) if rng.random() < 0.4]
    edges += [(k, k + 1) for k in range(joints - 1)]
    edges = [(i - 1, j - 1) for i, j in edges]
    g = rng.uniform(0.1, 1.0, (len(edges), samples))
    network = Laplacian(joints - 1, edges, g)
    got = network.ohms(3, 11)
    for s in range(samples):
        lap = np.zeros((joints, joints))
        for (i, j), x in zip(edges, g[:, s], strict=True):
            lap[i, i] += x
            lap[j, j] += x
            lap[i, j] -= x
            lap[j, i] -= x
        inverse = np.linalg.pinv(lap)
        assert got[s] == pytest.approx(inverse[3, 3] + inverse[11, 11] - 2 * inverse[3, 11], rel=1e-10)
