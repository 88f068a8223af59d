"""Fitting the valve laws to published figures.

Every published row is one or more observations (``fit_rows``); the law's parameters minimise a robust sum of squared
residuals plus priors that keep types with one row sane. Self-biased rows are solved in circuit, with their own
resistors. ``python -m firstglow.devices.fit_types`` fits every type.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from firstglow.devices.fit_rows import CURRENTS, NEXT_GRID, FitRow, Stage
from firstglow.devices.pentode import PentodeLaw, pentode_currents
from firstglow.devices.smooth import DeviceError, Values
from firstglow.devices.triode import TriodeLaw, triode_current

Array = NDArray[np.float64]
ON_BOUND = 1e-3
"""A parameter nearer to its bound than this part of its prior's sigma has ended there."""
Law = TriodeLaw | PentodeLaw
Partials = tuple[Values, Values, Values]


@dataclass(frozen=True, slots=True)
class Prior:
    """What is believed of one fitted parameter before any row.

    mean, sigma (1 standard deviation), low, high: in the scale that is fitted, the natural logarithm where ``log``.
    """

    name: str
    mean: float
    sigma: float
    log: bool = True
    low: float = -np.inf
    high: float = np.inf


def triode_priors(mu: float) -> tuple[Prior, ...]:
    """What is believed of a triode whose printed amplification factor is ``mu``.

    Centres are the house's; the widths of mu and sharpness are the ones (of a few tried, the same for all types) whose
    predictions of left-out publications were best.
    """
    return (
        Prior("perveance", np.log(2e-3), 4.0),
        Prior("exponent", 1.42, 0.08, log=False, low=1.1, high=1.8),
        Prior("mu", np.log(mu), 0.10),
        Prior("sharpness", np.log(5.5 * mu), 0.9),
        Prior("low_plate", np.log(300.0), np.log(3.0)),
        Prior("contact", 0.4, 0.3, log=False, low=-0.5, high=2.0),
    )


def pentode_priors(mu: float, mu_sigma: float, beam: bool, power: bool) -> tuple[Prior, ...]:
    """What is believed of a pentode whose grid 1 to grid 2 amplification factor is near ``mu`` (see triode_priors).

    mu_sigma: of the printed factor, a fraction. The screens of small pentodes print the same share at any volts.
    """
    return (
        Prior("perveance", np.log(2e-3), 4.0),
        Prior("exponent", 1.42, 0.08, log=False, low=1.1, high=1.8),
        Prior("mu", np.log(mu), mu_sigma),
        Prior("sharpness", np.log(5.5 * mu), 0.9),
        Prior("contact", 0.4, 0.3, log=False, low=-0.5, high=2.0),
        Prior("penetration", -np.log(30.0 if power else 100.0), 0.4),
        Prior("share", np.log(0.15 if beam else 0.25), 0.7),
        Prior("share_volts", 0.5 if power else 0.15, 0.4, log=False, low=0.0, high=3.0),
        Prior("share_drive", 0.35, 0.4, log=False, low=0.0, high=3.0),
        Prior("knee", np.log(11.0 if power else 15.0), 0.4),
    )


def currents(law: Law, plate: Values, grid: Values, screen: Values) -> tuple[Values, Values, Partials, Partials]:
    """Plate and screen current [A] and their partials by (plate, grid, screen) [S]; a triode has no screen current."""
    if isinstance(law, TriodeLaw):
        ia, by_plate, by_grid = triode_current(law, plate, grid)
        zero = np.zeros_like(ia)
        return ia, zero, (by_plate, by_grid, zero), (zero, zero, zero)
    ia, ig2, d = pentode_currents(law, plate, screen, grid)
    return ia, ig2, d[0], d[1]


@dataclass(frozen=True, slots=True)
class Bench:
    """The rows of one section as arrays: volts (3, row) plate, grid, screen; indices of the self-biased rows and their
    circuits (see ``fit_rows.Stage``); the plate load's conductance [S]."""

    rows: tuple[FitRow, ...]
    volts: Array
    tied: NDArray[np.bool_]
    staged: NDArray[np.intp]
    stage: dict[str, Array]
    load: Array

    @classmethod
    def of(cls, rows: Sequence[FitRow]) -> "Bench":
        """Lay the rows out."""
        staged = [i for i, r in enumerate(rows) if r.stage is not None]
        stages = [r.stage for r in rows if r.stage is not None]
        names = [f.name for f in fields(Stage)]
        return cls(
            tuple(rows),
            np.array([[r.plate, r.grid, r.plate if r.tied else r.screen] for r in rows]).T.reshape(3, len(rows)),
            np.array([r.tied for r in rows], dtype=bool),
            np.array(staged, dtype=np.intp),
            {n: np.array([float(getattr(s, n)) for s in stages]) for n in names},
            np.array(
                [(1.0 + 1.0 / NEXT_GRID) / r.stage.plate_ohms if r.stage and r.stage.plate_ohms else 1e12 for r in rows]
            ),
        )


def solve_stages(law: Law, stage: dict[str, Array], start: Array) -> Array:
    """Plate, grid and screen volts to the cathode of each circuit: (3, stage). Damped Newton from ``start``.

    Raises DeviceError when one does not settle.
    """
    x, s = start.copy(), stage
    tied = s["tied"] > 0
    for _ in range(80):
        ia, i2, da, d2 = currents(law, *x)
        f = np.stack(
            [
                x[0] - s["plate_supply"] + s["plate_ohms"] * ia - s["plate_follows"] * x[1],
                x[1] + s["cathode_ohms"] * (ia + i2),
                np.where(
                    tied, x[2] - x[0], x[2] - s["screen_supply"] + s["screen_ohms"] * i2 - s["screen_follows"] * x[1]
                ),
            ]
        )
        jac = np.zeros((x.shape[1], 3, 3))
        for k in range(3):
            jac[:, 0, k] = s["plate_ohms"] * da[k]
            jac[:, 1, k] = s["cathode_ohms"] * (da[k] + d2[k])
            jac[:, 2, k] = np.where(tied, 0.0, s["screen_ohms"] * d2[k])
            jac[:, k, k] += 1.0
        jac[:, 0, 1] -= s["plate_follows"]
        jac[:, 2, 1] -= np.where(tied, 0.0, s["screen_follows"])
        jac[:, 2, 0] -= tied
        step = np.linalg.solve(jac, -f.T[:, :, None])[:, :, 0].T
        x = x + step / np.maximum(1.0, np.abs(step) / (4.0 + 0.5 * np.abs(x))).max(axis=0)
        if np.all(np.abs(step) < 1e-7 * (1.0 + np.abs(x))):
            return np.asarray(x)
    raise DeviceError("a published stage does not settle with this law")


def predict(law: Law, bench: Bench) -> tuple[Array, Array]:
    """What the law gives for each row (row,), and the grid volts that one e-fold of it is worth (row,) [V]."""
    x = bench.volts.copy()
    if bench.staged.size:
        x[:, bench.staged] = solve_stages(law, bench.stage, x[:, bench.staged])
    ia, i2, da, d2 = currents(law, *x)
    ik, gk = ia + i2, da[1] + d2[1]
    tied = bench.tied
    gm = np.where(tied, gk, da[1])
    gp = np.where(tied, da[0] + da[2] + d2[0] + d2[2], da[0])
    by_what = {
        "plate amps": ia,
        "knee amps": ia,
        "screen amps": i2,
        "cathode amps": ik,
        "transconductance": gm,
        "mu": gm / np.maximum(gp, 1e-12),
        "plate resistance": 1.0 / np.maximum(gp, 1e-12),
        "gain": gm / (gp + bench.load),
    }
    value = np.array([by_what[r.what][i] for i, r in enumerate(bench.rows)])
    return np.maximum(value, 1e-12), np.where(tied, ik, ia) / np.maximum(gm, 1e-12)


def residuals(law: Law, bench: Bench) -> Array:
    """ln(predicted/published) over its standard deviation, row by row; currents at a fixed bias get the grid's too."""
    value, fold = predict(law, bench)
    out = np.empty(len(bench.rows))
    for i, row in enumerate(bench.rows):
        off = np.log(value[i] / row.published)
        if row.bound:
            off = max(off, 0.0) if row.bound == "at most" else min(off, 0.0)
        sigma = row.sigma
        if row.what in CURRENTS and row.stage is None:
            # 1 % of the cut-off volts (house fitting rule), and what the row itself allows its grid volts
            cutoff = 1.4 * min(fold[i], 50.0) + abs(row.grid)
            grid = np.hypot(0.01 * cutoff, row.grid_sigma)
            sigma = np.hypot(sigma, grid / max(fold[i], 0.02))
        out[i] = off / sigma
    return out


def robust(r: Array) -> Array:
    """Residuals whose square is 2 (sqrt(1 + r^2) - 1): a far row pulls, but no longer by its square.

    For the rows only: priors stay quadratic, else a fit can run away from all of them at little cost.
    """
    square = r * r
    return np.asarray(r * np.sqrt(2.0 / (1.0 + np.sqrt(1.0 + square))))


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted law, its parameters in the fitted scale, their covariance and the rows it used."""

    law: Law
    theta: Array
    covariance: Array
    priors: tuple[Prior, ...]
    rows: tuple[FitRow, ...]


def law_of(priors: Sequence[Prior], theta: Array, knee_power: float | None) -> Law:
    """The law whose fitted parameters are ``theta``."""
    values = {p.name: float(np.exp(t) if p.log else t) for p, t in zip(priors, theta, strict=True)}
    return TriodeLaw(**values) if knee_power is None else PentodeLaw(knee_power=knee_power, **values)


def fit_section(rows: Sequence[FitRow], priors: Sequence[Prior], knee_power: float | None = None) -> Fit:
    """Fit one section's law to its rows (those with ``used``). ``knee_power`` None: a triode.

    Raises DeviceError when no current is among the rows.
    """
    used = tuple(r for r in rows if r.used)
    if not any(r.what in CURRENTS and not r.bound for r in used):
        raise DeviceError("no published current to fit a law to")
    bench = Bench.of(used)
    mean = np.array([p.mean for p in priors])
    width = np.array([p.sigma for p in priors])

    def cost(theta: Array) -> Array:
        prior = (theta - mean) / width
        try:
            return np.concatenate([robust(residuals(law_of(priors, theta, knee_power), bench)), prior])
        except (DeviceError, np.linalg.LinAlgError):
            return np.full(len(used) + len(prior), 1e3)

    start = mean.copy()
    # perveance first: one step of scale on the largest current, the row that a prior's cut-off can spoil least
    first = max((i for i, r in enumerate(used) if r.what in CURRENTS), key=lambda i: used[i].published)
    ia, i2, _, _ = currents(law_of(priors, start, knee_power), *bench.volts[:, first])
    start[0] += np.log(used[first].published / float(ia + i2))
    bounds = ([p.low for p in priors], [p.high for p in priors])
    found = least_squares(cost, start, bounds=bounds, x_scale=width, method="trf", max_nfev=200)
    return Fit(law_of(priors, found.x, knee_power), found.x, _covariance(found, priors), tuple(priors), used)


def _covariance(found: Any, priors: Sequence[Prior]) -> Array:
    """Covariance of the parameters that the fit leaves free. One that ended on its bound stays there: its slope there is no
    zero, so the curvature of the others says nothing of how far it could still go."""
    at = np.array([min(t - p.low, p.high - t) / p.sigma for t, p in zip(found.x, priors, strict=True)])
    free = np.flatnonzero(at > ON_BOUND)
    out = np.zeros((len(priors), len(priors)))
    jac = found.jac[:, free]
    out[np.ix_(free, free)] = np.linalg.inv(jac.T @ jac)
    return out
