"""Plate and screen current of a pentode or beam tetrode: the cathode's current first, then how it is shared.

The cathode current is the triode form of N. Koren (Glass Audio 8 (5), 1996) driven by the screen with a small
part of the plate volts. The share and the knee are our own smooth forms: the screen takes a share that falls with plate
volts and with a starved drive, and everything as the plate volts go to 0.
"""

from dataclasses import dataclass

import numpy as np

from firstglow.devices.smooth import Values, positive_part, softplus

LOW_SCREEN = 300.0
"""[V^2]: how mu falls at low screen volts; no published point tells it from 100 or 1000."""
SHARE_FLOOR_VOLTS = 20.0
"""[V] added to plate and screen volts in the ratio that sets the share."""
SHARE_FLOOR_DRIVE = 0.02
"""[1] added to the relative drive, so that the share stays finite at cut-off."""
KNEE_FLOOR_VOLTS = 1.0
"""[V]: the knee of a valve that is cut off; without it the knee has no width there."""
SCREEN_ONSET_VOLTS = 1.0
"""[V]: at this screen volts half of what the share law gives the screen really reaches it (0 V: 12 %); exactly all above 20 V.
The screen of an open screen resistor then settles within a few volts of the cathode, as it does in the glass."""
SCREEN_ONSET_WIDTH = 0.5


@dataclass(frozen=True, slots=True)
class PentodeLaw:
    """What tells one pentode or beam tetrode type from another. Fields are floats, or arrays that broadcast.

    perveance: [A/V^exponent] of the effective drive volts. exponent: above 1. mu: of grid by screen [1].
    sharpness: of the cut-off [1]. contact: contact potential of the grid [V].
    penetration: volts of screen that one volt of plate is worth in the drive [1] (1/rho).
    share: screen share at equal volts and full relative drive [1]; share_volts: power of the screen to plate volts
    in it; share_drive: power of the relative drive in it; both 0 or more.
    knee: plate volts of the knee over the effective drive times mu [1]; knee_power: 1.2 (pentode) .. 1.9 (beam).
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
) -> tuple[Values, Values, tuple[tuple[Values, Values, Values], tuple[Values, Values, Values]]]:
    """Plate and screen current [A] and their partial derivatives [S]: ``d[0]`` of the plate current, ``d[1]`` of the
    screen current, each by (plate, grid, screen) volts.

    Volts are to the cathode; perveance and mu are factors, contact an offset [V]. Both currents are never negative;
    they add up to the cathode current at screen volts above 20 V; each goes to 0 with its own electrode's volts.
    """
    Va, dVa = positive_part(plate)
    Vg2, dVg2 = positive_part(screen)
    h = law.penetration
    # the drive volts follow the screen below 0 too: a screen at minus a few volts cuts the valve off
    Vs, dVs = positive_part(screen + h * Va)
    square = Vs * Vs + LOW_SCREEN
    root = np.sqrt(square)
    m = law.mu * mu
    lean = (grid + (law.contact + contact)) / root
    per_volt, slope = softplus(law.sharpness * (1.0 / m + lean))
    per_volt = per_volt / law.sharpness  # effective drive volts E over drive volts Vs
    E = Vs * per_volt
    w = m * per_volt  # relative drive
    w_s = -m * slope * lean * Vs / square
    w_g = slope * (m / root)
    E_s = per_volt + Vs * w_s / m
    E_g = Vs * w_g / m
    g = np.power(E, law.exponent - 1.0) * (law.perveance * perveance)
    Ik = g * E
    g = g * law.exponent

    share = law.share * np.exp(
        law.share_volts * np.log((Vg2 + SHARE_FLOOR_VOLTS) / (Va + SHARE_FLOOR_VOLTS))
        + law.share_drive * np.log(w + SHARE_FLOOR_DRIVE)
    )
    to_plate = 1.0 / (1.0 + share)  # 1 - sigma
    # d ln(to_plate) = -sigma d ln(share)
    sigma = share * to_plate
    t_a = sigma * (law.share_volts / (Va + SHARE_FLOOR_VOLTS))
    t_2 = -sigma * (law.share_volts / (Vg2 + SHARE_FLOOR_VOLTS))
    t_w = -sigma * law.share_drive / (w + SHARE_FLOOR_DRIVE)

    Vk = (law.knee * m) * E + KNEE_FLOOR_VOLTS
    r = Va / Vk
    q = np.power(r, law.knee_power - 1.0)
    e = np.exp(-q * r)
    K = -np.expm1(-q * r)
    K_r = law.knee_power * q * e
    K_E = K_r * (-r / Vk) * (law.knee * m)
    K_a = K_r / Vk

    part = to_plate * K
    Ia = Ik * part
    # s: by the drive volts Vs, through the current, the share and the knee
    by_E = part * g + Ik * to_plate * K_E
    Ia_s = by_E * E_s + Ia * t_w * w_s
    Ia_g = by_E * E_g + Ia * t_w * w_g
    s_a = dVs * h * dVa
    Ia_a = Ia_s * s_a + (Ia * t_a + Ik * to_plate * K_a) * dVa
    Ia_2 = Ia_s * dVs + Ia * t_2 * dVg2

    rest = Ik - Ia
    _, f = softplus((screen - SCREEN_ONSET_VOLTS) / SCREEN_ONSET_WIDTH)
    f_2 = f * (1.0 - f) / SCREEN_ONSET_WIDTH
    Ig2_a = (g * E_s * s_a - Ia_a) * f
    Ig2_g = (g * E_g - Ia_g) * f
    Ig2_2 = (g * E_s * dVs - Ia_2) * f + rest * f_2
    return Ia, rest * f, ((Ia_a, Ia_g, Ia_2), (Ig2_a, Ig2_g, Ig2_2))
