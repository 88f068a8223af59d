"""How far a fitted law itself may be off: 1 sigma of perveance, mu, contact and screen, shared by all valves of the type.

The covariance of a fit has six or ten directions; a reading's band has three. So the variance of ln(current) that the
covariance predicts, at the published conditions and across the ratings, is laid on the three by least squares without
negative parts. What no covariance knows (the law's own form, one maker's average against another's) is a floor, set
once for all types so that predictions of publications left out of the fit fall inside two sigma 95 % of the time.

A pentode's screen current has a fourth of its own: the split. What its fit does not know (ln of the ratio of screen to plate
current at the same states), what its own printed screen currents scatter about it, and a floor, in square.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

from firstglow.devices.fit import Bench, Fit, Law, currents, law_of, predict
from firstglow.devices.fit_rows import CURRENTS, CUTOFF_AMPS, FitRow
from firstglow.devices.pentode import PentodeLaw

Array = NDArray[np.float64]

FLOOR = {"perveance": 0.04, "mu": 0.015, "contact": 0.04, "screen": 0.07}
"""1 sigma that is added in square to every type's (fractions; volts). With 2 % (1 sigma) for a printed figure and half
of what a doubt names, 95 % of the left-out currents and publications then fall inside two sigma (``fit_blind``). The screen's is the
robust scatter of 80 printed screen currents about their own fits; with 12.5 % for the print (the rule table's screen row) 96 %
of the left-out ones and 93 % of their publications fall inside two sigma."""
TERMS = ("perveance", "mu", "contact")


def shifted(law: Law, term: str, by: float) -> Law:
    """The law with its perveance or mu times (1 + by), or its contact raised by ``by`` volts."""
    if term == "contact":
        return replace(law, contact=law.contact + by)
    return replace(law, **{term: getattr(law, term) * (1.0 + by)})


def log_slopes(law: Law, bench: Bench) -> Array:
    """d ln(prediction) by ln perveance, ln mu and contact volts: (3, row). Self-biased rows in circuit."""
    step = 1e-4
    out = []
    for term in TERMS:
        up, down = (predict(shifted(law, term, s), bench)[0] for s in (step, -step))
        out.append(np.log(up / down) / (2.0 * step))
    return np.array(out)


def law_sigma(sigma: Mapping[str, float], slopes: Array) -> Array:
    """1 sigma of ln(prediction) that a law's uncertainty makes, from ``log_slopes``: (row,)."""
    widths = np.array([sigma[t] for t in TERMS])
    return np.asarray(np.sqrt(np.einsum("tr,t->r", slopes**2, widths**2)))


def working_volts(law: Law, fit_volts: Array, limits: Mapping[str, float]) -> Array:
    """Plate, grid and screen volts (3, state) at which the law is asked how sure it is.

    The fitted rows', and a fan across the ratings at a quarter and at three quarters of the rated plate watts.
    """
    pentode = isinstance(law, PentodeLaw)
    states = [fit_volts]
    for part in (0.45, 0.65, 0.85):
        plate = part * limits["va_max"] if limits["va_max"] < 500 else part * 500.0
        screen = min(plate, limits.get("vg2_max", 0.0)) if pentode else 0.0
        for share in (0.25, 0.75):
            wanted = share * limits["pa_max_W"] / plate
            grid = np.linspace(-2.0 * (screen or plate) / float(law.mu), 0.0, 200)
            amps = currents(law, plate, grid, screen)[0]
            states.append(np.array([[plate], [float(np.interp(wanted, amps, grid))], [screen]]))
    return np.concatenate(states, axis=1)


def law_uncertainty(fit: Fit, limits: Mapping[str, float], knee_power: float | None) -> dict[str, float]:
    """1 sigma of the law: {"perveance": fraction, "mu": fraction, "contact": volts}, and of a pentode {"screen": of ln(screen
    over plate current)}.

    limits: the section's ratings as in the data file (va_max, pa_max_W, vg2_max).
    """
    bench = Bench.of([r for r in fit.rows if r.what in CURRENTS and r.published > CUTOFF_AMPS])
    volts = working_volts(fit.law, bench.volts, limits)

    def log_current(law: Law) -> Array:
        ia, ig2, _, _ = currents(law, *volts)
        return np.asarray(np.log(np.maximum(ia + ig2, 1e-12)))

    variance = _variance(fit, log_current, knee_power)
    three = []
    for term in TERMS:
        up, down = (log_current(shifted(fit.law, term, s)) for s in (1e-4, -1e-4))
        three.append(((up - down) / 2e-4) ** 2)
    weight = 1.0 / (variance + 1e-4)
    found, _ = nnls(np.array(three).T * weight[:, None], variance * weight)
    sigma = {t: float(np.hypot(np.sqrt(v), FLOOR[t])) for t, v in zip(TERMS, found, strict=True)}
    if isinstance(fit.law, PentodeLaw):
        apart = np.append(~bench.tied, np.ones(volts.shape[1] - len(bench.tied), dtype=bool))
        sigma["screen"] = _screen_sigma(fit, volts[:, apart], knee_power)
    return sigma


def _variance(fit: Fit, of: Callable[[Law], Array], knee_power: float | None) -> Array:
    """What the fit's covariance makes of a figure that the law gives at some states: variance (state,)."""
    steps = 1e-3 * np.array([p.sigma for p in fit.priors])
    slopes = []
    for i, step in enumerate(steps):
        move = np.zeros(len(steps))
        move[i] = step
        up, down = (of(law_of(fit.priors, fit.theta + s * move, knee_power)) for s in (1.0, -1.0))
        slopes.append((up - down) / (2.0 * step))
    J = np.array(slopes)
    return np.asarray(np.einsum("is,ij,js->s", J, fit.covariance, J))


def _screen_sigma(fit: Fit, volts: Array, knee_power: float | None) -> float:
    """1 sigma of ln(screen current over plate current); ``volts`` (3, state): plate, grid, screen.

    Without a printed screen current in the fit only its prior stands behind the first part, and that is wide.
    """

    def log_split(law: Law) -> Array:
        ia, ig2, _, _ = currents(law, *volts)
        return np.asarray(np.log(np.maximum(ig2, 1e-12) / np.maximum(ia, 1e-12)))

    off = split_errors(fit.law, fit.rows)
    own = float(np.mean(off**2)) if off.size else 0.0
    return float(np.sqrt(_variance(fit, log_split, knee_power).mean() + own + FLOOR["screen"] ** 2))


def split_errors(law: Law, rows: Sequence[FitRow]) -> Array:
    """ln of the law's ratio of screen to plate current over the printed one, for every place that prints both: (place,).

    The ratio, not the screen current: what a plate current is off by, perveance, mu and contact already carry.
    """
    at = {r.where: r for r in rows if r.what in CURRENTS}
    screens = [r for r in rows if r.what == "screen amps" and r.where in at]
    if not screens:
        return np.empty(0)
    amps = np.array([r.published for r in screens])
    of = [at[r.where] for r in screens]
    plate = np.array([r.published for r in of]) - np.where([r.what == "cathode amps" for r in of], amps, 0.0)
    fitted, _ = predict(law, Bench.of(screens))
    beside, _ = predict(law, Bench.of([replace(r, what="plate amps") for r in screens]))
    return np.asarray(np.log(fitted / beside * plate / amps))
