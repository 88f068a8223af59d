"""Heater current against heater volts, and how much a cathode can emit at them.

A plausibility choice: no published emission points stand behind it (house physics notes). It gives about 1 % of rated
current at half heater volts and 87 % at four fifths.
"""

import numpy as np

from firstglow.devices.smooth import Values

HEATER_POWER = 0.6
"""Heater current goes as volts to this power near the rating (tungsten whose resistance follows its temperature)."""
COLD_RATIO = 5.0
"""Hot over cold heater resistance, 3 to 7 (common practice): the cold inrush over the rated current."""
COLD_KNEE = COLD_RATIO ** (-1.0 / (1.0 - HEATER_POWER))
"""Heater volts over rated, below which the heater is a plain cold resistor."""

WORKING_KELVIN = 1050.0
"""Oxide cathode at rated heater volts [K]."""
ROOM_RATIO = 300.0 / WORKING_KELVIN
RADIATED = 0.85
"""Share of the heater power that leaves by radiation at the working temperature; the rest is conducted away."""
WORK_VOLTS = 1.35
"""Effective work function of an oxide cathode [V]."""
BOLTZMANN_VOLTS = 8.617333e-5
"""k/e [V/K] (CODATA 2018)."""
RESERVE = 5.0
"""Saturated emission of a new cathode over its rated current, 3 to 8."""
JOIN_POWER = 3.0


def heater_current(volts: Values, rated_volts: Values, rated_amps: Values) -> tuple[Values, Values]:
    """Heater current [A] and its derivative [S]: rated_amps (volts/rated_volts)^0.6, a cold resistor near 0 V.

    Odd in ``volts`` (the sign of a dc heater supply, or an rms magnitude); exactly rated_amps at rated_volts.
    """
    v = volts / rated_volts
    knee = COLD_KNEE**2
    square = v * v + knee
    exponent = (HEATER_POWER - 1.0) / 2.0
    bend = np.power(square / (1.0 + knee), exponent)
    amps = rated_amps * v * bend
    return amps, rated_amps / rated_volts * bend * (1.0 + 2.0 * exponent * (v * v) / square)


def heater_siemens(square: Values, rated_volts: Values, rated_amps: Values) -> tuple[Values, Values]:
    """Amps over volts [S] of a heater or pilot lamp at ``square`` = its volts rms squared, and the derivative [S/V^2]: the same law
    where the volts have a part in quadrature."""
    knee = COLD_KNEE**2
    exponent = (HEATER_POWER - 1.0) / 2.0
    of_rated = square / (rated_volts * rated_volts) + knee
    siemens = rated_amps / rated_volts * np.power(of_rated / (1.0 + knee), exponent)
    return siemens, siemens * exponent / (of_rated * rated_volts * rated_volts)


def cathode_temperature(heater_ratio: Values) -> tuple[Values, Values]:
    """Cathode temperature over the working one [1] and its derivative by ``heater_ratio`` (volts over rated).

    Power in goes as ratio^1.6; it leaves by radiation (85 %) and conduction. Two of Halley's steps: 8 %, 1e-3, 1e-9.
    """
    square = heater_ratio * heater_ratio + 1e-6
    power = np.power(square / (1.0 + 1e-6), (1.0 + HEATER_POWER) / 2.0)
    fourth = ROOM_RATIO**4
    radiate = RADIATED / (1.0 - fourth)
    conduct = (1.0 - RADIATED) / (1.0 - ROOM_RATIO)
    out = power + (radiate * fourth + conduct * ROOM_RATIO)
    t = np.sqrt(np.sqrt(power + fourth))  # right at both ends, 8 % high between
    for _ in range(2):
        square_t = t * t
        bend = (radiate * t) * square_t
        balance = bend * t + conduct * t - out
        slope = 4.0 * bend + conduct
        t = t - balance * slope / (slope * slope - balance * (6.0 * radiate) * square_t)
    d_power = (1.0 + HEATER_POWER) * heater_ratio * power / square
    return t, d_power / (4.0 * radiate * t * t * t + conduct)


def heater_power(heater_ratio: Values) -> tuple[Values, Values]:
    """Power over the rated one of a heater that has stood at ``heater_ratio`` (volts over rated), and the conductance over
    the rated one that it has then [1, 1]: power = ratio^2 conductance."""
    square = heater_ratio * heater_ratio
    siemens = np.power((square + COLD_KNEE**2) / (1.0 + COLD_KNEE**2), (HEATER_POWER - 1.0) / 2.0)
    return square * siemens, siemens


def ratio_of(temperature: Values) -> Values:
    """Heater volts over rated that keep a cathode at ``temperature`` (over the working one): ``cathode_temperature``, the
    other way round."""
    fourth = ROOM_RATIO**4
    lost = RADIATED * (temperature**4 - fourth) / (1.0 - fourth)
    lost = lost + (1.0 - RADIATED) * (temperature - ROOM_RATIO) / (1.0 - ROOM_RATIO)
    square = np.power(np.maximum(lost, 0.0), 2.0 / (1.0 + HEATER_POWER)) * (1.0 + 1e-6) - 1e-6
    return np.sqrt(np.maximum(square, 0.0))


def emission_limit(
    i_space_charge: Values, heater_ratio: Values, rated_amps: Values, emission: Values = 1.0
) -> tuple[Values, Values, Values]:
    """What the cathode really gives [A], and its derivatives by the space-charge current [1] and the heater ratio [A].

    i_space_charge: what the law asks of a hot cathode [A], not negative. heater_ratio: heater volts over rated.
    rated_amps: the rated cathode current. emission: factor, 1 new, 0.6 to 0.7 worn, 0 dead.
    """
    t, t_v = cathode_temperature(heater_ratio)
    phi = WORK_VOLTS / (BOLTZMANN_VOLTS * WORKING_KELVIN)
    limit = (RESERVE * rated_amps * emission) * t * t * np.exp(phi * (1.0 - 1.0 / t)) + 1e-30
    r = i_space_charge / limit
    cube = r * r * r
    share = 1.0 / np.cbrt(1.0 + cube) if np.isrealobj(cube) else np.power(1.0 + cube, -1.0 / JOIN_POWER)
    d_i = share / (1.0 + cube)
    # I = limit r (1 + r^3)^(-1/3): dI/dlimit = share r - d_i r = share r cube / (1 + cube)
    d_limit = d_i * r * cube
    d_v = d_limit * (limit * (2.0 / t + phi / (t * t)) * t_v)
    return i_space_charge * share, d_i, d_v
