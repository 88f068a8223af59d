"""Straight-line amplifiers: what each spread does to each reading, taken as all there is. For the fast bands."""

import numpy as np
from numpy.typing import NDArray

from firstglow.readings.sheet import Sheet
from firstglow.readings.slopes import METER, WARMTH
from firstglow.readings.spreads import LEAST_OF_NOMINAL, SEED, unit_column

Array = NDArray[np.float64]

SAMPLES = 4000
# A reading goes in proportion to what moves it where its elasticity is 1 to this part, and that much of its variance.
PROPORTIONAL, MUCH = 0.2, 0.1
# A size is moved by its parts by less than this part of itself, one standard deviation.
CANCELS = 0.8
# A leak counts by itself in readings of which it makes more than this part of the variance.
LEAKS = 0.003
LEAK = "leak_ohms"
# Under this part of a meter's step a figure is nothing, and has no sign.
NOTHING = 0.01


def sizes(sheet: Sheet) -> NDArray[np.bool_]:
    """Which readings are sizes, that nothing healthy brings to zero or past it, (reading,).

    Ohms, ac and ratios are. A dc reading is where it goes in proportion, straight or inverse, to something that moves it
    much (a leak's volts to the leak), or to the resistor that it is read across (a valve's current through its sense
    resistor). A difference of two large volts is none, and what is nothing on the meter has no side at all.
    """
    found = sheet.found
    elastic, share = elasticity(sheet)
    close = np.abs(np.abs(elastic) - 1.0) < PROPORTIONAL
    proportional: NDArray[np.bool_] = np.asarray((close & (share > MUCH)).any(axis=0))
    row = {name: k for k, name in enumerate(found.names)}
    across: dict[frozenset[str], list[int]] = {}
    for part in sheet.observer.amplifier.of_kind("resistor"):
        if f"{part.name} ohms" in row:
            across.setdefault(frozenset(part.leads.values()), []).append(row[f"{part.name} ohms"])
    for i, r in enumerate(sheet.readings):
        own = across.get(frozenset((r.probe.red, r.probe.black)), [])
        proportional[i] |= bool(close[own, i].any())
    unsigned = np.array([not on.signed for on in sheet.on])
    # what is left of two that cancel (hum of a balanced pair) may come to nothing after all
    parts = np.array([part not in {METER, WARMTH} for part in found.parts])
    away = np.sqrt((found.sigmas[parts] ** 2).sum(axis=0))
    stands = np.abs(sheet.shown) > NOTHING * np.array([on.step for on in sheet.on])
    return np.asarray(
        ((unsigned & (found.centre > 0)) | proportional) & stands & (away < CANCELS * np.abs(sheet.shown))
    )


def elasticity(sheet: Sheet) -> tuple[Array, Array]:
    """(relative change of a reading over relative change of what moves it, share of the variance), (contribution,
    reading); nothing for the meter and for what has no nominal."""
    found = sheet.found
    own = np.array([part != METER for part in found.parts])
    relative = np.where(own, found.relative, 0.0)[:, None]
    away = np.where(own[:, None], found.sigmas, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        elastic = np.where(relative > 0, away / relative / sheet.shown, 0.0)
        share = away**2 / (away**2).sum(axis=0)
    return np.nan_to_num(elastic, posinf=0.0, neginf=0.0), np.nan_to_num(share)


def straight(sheet: Sheet, samples: int = SAMPLES, seed: int = SEED) -> Array:
    """Shown values (reading, sample): nominal plus slopes times deviations; for sizes the same on logarithmic scales,
    exact for a product of powers and for a leak beside other paths. The meter's own errors come on top of either."""
    from scipy.special import ndtri

    found = sheet.found
    own = np.array([part != METER for part in found.parts])
    u = np.array([unit_column(f"straight {name}", samples, seed) for name in found.names])
    scores = np.where(found.uniform[:, None], (2.0 * u - 1.0) * 3**0.5, ndtri(u))
    size = sizes(sheet)
    out: Array = found.centre[:, None] + found.sigmas[own].T @ scores[own]
    out[size] = found.centre[size, None] * np.exp(_logarithms(sheet, scores, size))
    unsigned = np.array([not on.signed for on in sheet.on])
    out[unsigned] = np.abs(out[unsigned])
    out += found.sigmas[~own].T @ scores[~own]
    out[unsigned] = np.maximum(out[unsigned], 0.0)
    return out


def _logarithms(sheet: Sheet, scores: Array, size: NDArray[np.bool_]) -> Array:
    """Logarithm of each size over its middle, (size, sample)."""
    found = sheet.found
    own = np.array([part != METER for part in found.parts])
    scaled = found.relative > 0
    relative = np.where(scaled, found.relative, 1.0)[:, None]
    factor = np.maximum(1.0 + relative * scores, LEAST_OF_NOMINAL)
    bent = np.where(scaled[:, None], np.log(factor) / relative, scores)
    warmth = np.array([part == WARMTH for part in found.parts])[:, None]
    # parts move a reading as the nominal stands, chance moves it about its own middle
    about = np.where(warmth, found.centre, sheet.shown)
    slopes = (np.where(own[:, None], found.sigmas, 0.0)[:, size]) / about[:, size]
    elastic, share = elasticity(sheet)
    leaks = np.array([name.endswith(LEAK) for name in found.names])[:, None] & (share > LEAKS)
    leaks = leaks[:, size]
    out: Array = np.where(leaks, 0.0, slopes).T @ bent
    for row, reading in zip(*np.nonzero(leaks), strict=True):
        e = float(np.clip(elastic[:, size][row, reading], -1.0, 1.0))
        out[reading] -= np.sign(e) * np.log1p(abs(e) * (1.0 / factor[row] - 1.0))
    return out
