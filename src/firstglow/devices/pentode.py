"""Plate and screen current of a pentode or beam tetrode: the cathode's current first, then how it is shared.

The cathode current is the triode form of N. Koren (Glass Audio 8 (5), 1996) driven by the screen with a small
part of the plate volts. The share and the knee are our own smooth forms: the screen takes a share that falls with plate
volts and with a starved drive, and everything as the plate volts go to 0. With the law's constants by name, and
screen and plate volts rounded to positive at 0 V:

    Vs = screen + penetration plate
    E  = Vs/sharpness ln(1 + exp(sharpness (1/mu + (grid + contact)/sqrt(300 + Vs^2))))
    w  = E mu/Vs
    s  = share ((screen + 20)/(plate + 20))^share_volts (w + 0.02)^share_drive
    K  = 1 - exp(-(plate/knee)^knee_power / ((E mu/100)^exponent + 0.02))
    cathode current = perveance E^exponent
    plate current   = cathode current K/(1 + s)
    screen current  = cathode current - plate current

A factor on the split (1: the law as it is) multiplies the ratio of screen to plate current and leaves their sum: with q the
plate's part K/(1 + s), q/(q + factor (1 - q)). So neither is ever negative, and a screen that takes twice the law's does not
make the cathode give more.
"""

from dataclasses import dataclass

import numpy as np

from firstglow.devices.grid import GRID_CONTACT_VOLTS, THERMAL_VOLTS
from firstglow.devices.smooth import Values, level, positive_part, softplus

LOW_SCREEN = 300.0
"""[V^2]: how mu falls at low screen volts; no published point tells it from 100 or 1000."""
SHARE_FLOOR_VOLTS = 20.0
"""[V] added to plate and screen volts in the ratio that sets the share."""
SHARE_FLOOR_DRIVE = 0.02
"""[1] added to the relative drive, so that the share stays finite at cut-off."""
KNEE_DRIVE = 100.0
"""[V]: the drive, referred to the screen, at which a law states its knee."""
KNEE_FLOOR = 0.02
"""[1]: keeps the knee of a valve that is cut off about 1 V wide; without it the knee has no width there."""
SCREEN_ONSET_VOLTS = 1.0
"""[V]: at this screen volts half of what the share law gives the screen reaches it (0 V: 12 %; above 20 V: all). The
screen of an open screen resistor then settles within a few volts of the cathode, as it does in the glass."""
SCREEN_ONSET_WIDTH = 0.5
SCREEN_RETARDING_VOLTS = GRID_CONTACT_VOLTS
"""[V] below the cathode, where the retarding field before the screen begins: there its current falls as a grid's does, a factor e each
``THERMAL_VOLTS``, so a screen that nothing feeds floats at about -1 V, as a grid does over 10 megohm."""


@dataclass(frozen=True, slots=True)
class PentodeLaw:
    """What tells one pentode or beam tetrode type from another. Fields are floats, or arrays that broadcast.

    perveance: [A/V^exponent] of the effective drive volts. exponent: above 1. mu: of grid by screen [1].
    sharpness: of the cut-off [1]. contact: contact potential of the grid [V].
    penetration: volts of screen that one volt of plate is worth in the drive [1] (1/rho).
    share: screen share at equal volts and full relative drive [1]; share_volts: power of the screen to plate volts
    in it; share_drive: power of the relative drive in it; both 0 or more.
    knee: plate volts of the knee at a drive of 100 V referred to the screen [V]; knee_power: the plate current below it
    goes as plate volts to this power, 1.2 (pentode) .. 1.9 (beam).
    """

    perveance: Values
    exponent: Values
    mu: Values
    sharpness: Values
    contact: Values
    penetration: Values
    share: Values
    share_volts: Values
    share_drive: Values
    knee: Values
    knee_power: Values


def pentode_currents(
    law: PentodeLaw,
    plate: Values,
    screen: Values,
    grid: Values,
    perveance: Values = 1.0,
    mu: Values = 1.0,
    contact: Values = 0.0,
    split: Values = 1.0,
) -> tuple[Values, Values, tuple[tuple[Values, Values, Values], tuple[Values, Values, Values]]]:
    """Plate and screen current [A] and their partial derivatives [S]: ``d[0]`` of the plate current, ``d[1]`` of the
    screen current, each by (plate, grid, screen) volts.

    Volts are to the cathode; perveance and mu are factors, contact an offset [V], split a factor (above 0) on the ratio of
    screen to plate current at the same cathode current. Both currents are never negative;
    they add up to the cathode current at screen volts above 20 V; each goes to 0 with its own electrode's volts.
    """
    plate, screen, grid, m = level(plate, screen, grid, law.mu * mu, perveance, contact, split)
    if plate.ndim == 0:
        one = pentode_currents(law, plate[None], screen, grid, perveance, mu, contact, split)
        return one[0][0], one[1][0], (tuple(x[0] for x in one[2][0]), tuple(x[0] for x in one[2][1]))
    Va, dVa = positive_part(plate)
    Vg2, dVg2 = positive_part(screen)
    # the drive volts follow the screen below 0 too: a screen at minus a few volts cuts the valve off
    Vs, dVs = positive_part(screen + law.penetration * Va)
    (E_x, E_x1, w), (E_s, E_g, w_s, w_g) = _drive(law, Vs, grid + (law.contact + contact), m)
    k = law.perveance * perveance
    Ik, g = k * E_x, k * E_x1
    to_plate, by_share = _share(law, Va, Vg2, w)
    K, K_E, K_a = _knee(law, Va, E_x, E_x1, m)

    # Ia = Ik t K with t the plate's share, so by drive volts s (and alike by grid):
    # dIa/ds = (g t K + Ik t dK/dE) dE/ds + Ia dln(t)/dw dw/ds. Arrays are used up in turn: memory costs more than sums.
    Ik_part = Ik * to_plate
    K_E *= Ik_part
    K_a *= Ik_part
    Ia = Ik_part
    Ia *= K
    K *= to_plate
    q = None if isinstance(split, float) and split == 1.0 else K.copy()
    K *= g
    K_E += K
    by_w = by_share[2]
    by_w *= Ia
    Ia_s = K_E * E_s
    w_s *= by_w
    Ia_s += w_s
    Ia_g = K_E
    Ia_g *= E_g
    w_g *= by_w
    Ia_g += w_g
    s_a = dVs * law.penetration * dVa
    by_plate, by_screen, _ = by_share
    by_plate *= Ia
    by_plate += K_a
    by_plate *= dVa
    by_plate += Ia_s * s_a
    by_screen *= Ia
    by_screen *= dVg2
    Ia_s *= dVs
    by_screen += Ia_s
    E_s *= g
    E_g *= g
    if q is not None:
        Ia *= _split(split, q, (by_plate, Ia_g, by_screen), (E_s * s_a, E_g, E_s * dVs))
    rest = Ik - Ia
    Ig2_a = E_s * s_a
    Ig2_a -= by_plate
    E_g -= Ia_g
    E_s *= dVs
    E_s -= by_screen
    Ig2, d_screen = _onset(screen, rest, (Ig2_a, E_g, E_s))
    return Ia, Ig2, ((by_plate, Ia_g, by_screen), d_screen)


def _split(split: Values, q: Values, own: tuple[Values, ...], total: tuple[Values, ...]) -> Values:
    """What the plate current is multiplied by once the ratio of screen to plate current is ``split`` times the law's.

    q: the plate's part of the cathode current Ik by the law; own, total: slopes of the plate's and of the cathode's current.
    ``own`` becomes the new plate current's. With D = q + split (1 - q), by any volts x:
    d(Ik q/D)/dx = split/D^2 d(Ik q)/dx + (1 - split) q^2/D^2 dIk/dx.
    """
    over_D = 1.0 / (split + (1.0 - split) * q)
    turn = q * over_D
    turn *= turn
    turn *= 1.0 - split
    follow = split * over_D * over_D
    for slope, of_total in zip(own, total, strict=True):
        slope *= follow
        slope += turn * of_total
    return over_D


def _onset(
    screen: Values, amps: Values, d: tuple[Values, Values, Values]
) -> tuple[Values, tuple[Values, Values, Values]]:
    """The screen's current and its slopes (plate, grid, screen), fading as the screen volts go to 0."""
    if not np.iscomplexobj(screen) and screen.min(initial=np.inf) > SCREEN_ONSET_VOLTS + 40.0 * SCREEN_ONSET_WIDTH:
        return amps, d
    _, f = softplus((screen - SCREEN_ONSET_VOLTS) / SCREEN_ONSET_WIDTH)
    _, h = softplus((screen + SCREEN_RETARDING_VOLTS) / THERMAL_VOLTS)
    slope = (1.0 - f) / SCREEN_ONSET_WIDTH + (1.0 - h) / THERMAL_VOLTS  # of ln(f h)
    f = f * h
    return amps * f, (d[0] * f, d[1] * f, d[2] * f + amps * (f * slope))


def _drive(law: PentodeLaw, Vs: Values, bias: Values, m: Values) -> tuple[tuple[Values, ...], tuple[Values, ...]]:
    """E^exponent, its slope by the effective drive E, and the relative drive w; then the slopes of E and w by the drive
    volts Vs and by the grid. ``bias`` is used up."""
    square = Vs * Vs
    square += LOW_SCREEN
    root = np.sqrt(square)
    lean = bias
    lean /= root
    per_volt, slope = softplus((lean + 1.0 / m) * law.sharpness)
    per_volt /= law.sharpness
    slope *= m
    w_g = np.divide(slope, root, out=root)
    lean *= slope
    lean *= Vs
    w_s = np.divide(lean, square, out=lean)
    np.negative(w_s, out=w_s)
    over_m = Vs / m
    E_s = np.multiply(over_m, w_s, out=square)
    E_s += per_volt
    E_g = np.multiply(over_m, w_g, out=over_m)
    E = Vs * per_volt
    slope = np.power(E, law.exponent - 1.0)  # nothing divides by a drive that has underflowed to 0
    E *= slope
    slope *= law.exponent
    per_volt *= m
    return (E, slope, per_volt), (E_s, E_g, w_s, w_g)


def _share(law: PentodeLaw, Va: Values, Vg2: Values, w: Values) -> tuple[Values, list[Values]]:
    """The plate's share of the cathode current above the knee, and the slopes of its logarithm by plate volts, screen
    volts and relative drive. ``w`` is used up."""
    a, b = Va + SHARE_FLOOR_VOLTS, Vg2 + SHARE_FLOOR_VOLTS
    w += SHARE_FLOOR_DRIVE
    power = b / a
    np.log(power, out=power)
    power *= law.share_volts
    log_w = np.log(w)
    log_w *= law.share_drive
    power += log_w
    share = np.exp(power, out=power)
    share *= law.share
    to_plate = 1.0 / (share + 1.0)
    share *= to_plate  # now the screen's part
    log_w = np.divide(share, w, out=log_w)
    log_w *= -law.share_drive
    share *= law.share_volts
    np.divide(share, a, out=a)
    np.divide(share, b, out=b)
    np.negative(b, out=b)
    return to_plate, [a, b, log_w]


def _knee(law: PentodeLaw, Va: Values, current: Values, slope: Values, m: Values) -> tuple[Values, Values, Values]:
    """What is left of the plate's share at its volts, 0 .. 1, and its slopes by E and by plate volts.

    current, slope: E^exponent and its slope by E; both are used up. Below the knee the plate current is the same power
    of the plate volts at any drive, as in the glass, where the space charge before the plate sets it.
    """
    scale = np.power(m / KNEE_DRIVE, law.exponent)
    depth = current
    depth *= scale
    depth += KNEE_FLOOR
    slope *= scale
    slope /= depth
    ratio = Va / law.knee
    rise = np.power(ratio, law.knee_power - 1.0)
    rise /= depth
    down = np.multiply(rise, ratio, out=ratio)
    np.negative(down, out=down)
    by_E = slope
    by_E *= down
    if not np.iscomplexobj(down):
        np.maximum(down, -60.0, out=down)  # e^-60 is nothing; far below it exp is slow
    K = np.expm1(down, out=down)
    np.negative(K, out=K)
    left = 1.0 - K
    by_E *= left
    rise *= law.knee_power / law.knee
    rise *= left
    return K, by_E, rise
