"""Published typical operation of rectifier valves beside what the printed drop alone makes of it.

The rows are blind: a rectifier's law comes from its printed drop (``devices.fit_types``), never from these. A printed supply
impedance is the whole of it a plate, transformer included. European sheets are taken at 50 Hz, American ones at 60 Hz.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from firstglow.devices.catalogue import valve_type
from firstglow.devices.published import publication, published_types
from firstglow.devices.rectifier import RectifierLaw, emitted
from firstglow.solver.averaged import Averaged, Cell, Inputs, Leg, averaged
from firstglow.solver.choke_input import choke_input

PRINT_SIGMA = 0.01
"""1 sigma of a printed HT voltage [1]: read off a maker's curve and rounded to 5 or 10 V."""
DOUBT_SIGMA = 0.02
_EUROPEAN = re.compile(r"philips|mullard", re.IGNORECASE)
_CHOKE_OHMS = 0.0  # the printed volts of a choke-input row are those before its resistance


@dataclass(frozen=True, slots=True)
class RectifierRow:
    """One published supply.

    where: its place in ``data/valves.toml``. volts_rms: a plate. farads: 0 is a choke input, then henries. ohms: supply
    impedance a plate. amps: dc. published: dc volts at the reservoir (behind a choke without resistance). sigma: 1 sigma of
    the print [V]. predicted: the law's [V]. spread: 1 sigma of the prediction from the law's own uncertainty [V].
    """

    valve: str
    where: str
    source: str
    publication: str
    verified: str
    doubt: str
    volts_rms: float
    farads: float
    henries: float
    ohms: float
    amps: float
    hertz: float
    published: float
    sigma: float
    predicted: float
    spread: float

    @property
    def error(self) -> float:
        """Predicted over published, less 1."""
        return self.predicted / self.published - 1.0


def rectifier_rows(name: str) -> tuple[RectifierRow, ...]:
    """Every published typical operation of a rectifier valve. Raises DeviceError for a type without a law."""
    kind = valve_type(name)
    section = kind.sections[0]
    if not isinstance(section.law, RectifierLaw):
        return ()
    limit = float(emitted(section.law, 1.0)[0])
    rows = []
    for n, row in enumerate(published_types().get(kind.name, {}).get("typical_output", ())):
        choke = re.search(r"choke (\d+) H", row["filter"])
        ohms = float(row.get("r_per_plate_ohm", 0.0))
        circuit = {
            "volts_rms": float(row["vrms_per_plate"]),
            "farads": row["c_in_uF"] * 1e-6,
            "henries": float(choke[1]) if choke else 0.0,
            "ohms": ohms,
            "amps": row["idc_mA"] * 1e-3,
            "hertz": 50.0 if _EUROPEAN.search(row["source"]) else 60.0,
        }
        sigma = section.law_uncertainty["perveance"]
        predicted, high = (
            supply_volts(section.law.perveance * k, limit, **circuit) for k in (1.0, float(np.exp(sigma)))
        )
        rows.append(_row(kind.name, n, row, circuit, predicted, high - predicted))
    return tuple(rows)


def _row(
    valve: str, n: int, row: Mapping[str, Any], circuit: Mapping[str, float], predicted: float, spread: float
) -> RectifierRow:
    doubt = row.get("doubt", "")
    published = float(row["vdc_out"])
    return RectifierRow(
        valve=valve,
        where=f"typical_output[{n}]",
        source=row["source"],
        publication=publication(row["source"]),
        verified=row["verified"],
        doubt=doubt,
        published=published,
        sigma=published * (DOUBT_SIGMA if doubt else PRINT_SIGMA),
        predicted=predicted,
        spread=spread,
        **circuit,
    )


def supply_volts(
    perveance: float,
    limit: float,
    *,
    volts_rms: float,
    farads: float,
    henries: float,
    ohms: float,
    amps: float,
    hertz: float,
) -> float:
    """Dc volts of a full-wave supply that gives ``amps`` [V]: capacitor input of ``farads``, or with 0 choke input of
    ``henries``. perveance [A/V^1.5] and emission limit [A] of a plate; ohms: a plate's supply impedance."""
    from scipy.optimize import brentq

    one = np.ones((1, 1))
    cell = Cell((Leg(1),), equal=True)

    def at(volts: float) -> Averaged:
        x = Inputs(
            np.array([volts]), volts_rms * one, ohms * one, perveance * one, limit * one, np.array([farads]), hertz
        )
        return averaged(cell, x) if farads > 0.0 else choke_input(cell, x, henries, _CHOKE_OHMS)

    return float(brentq(lambda v: float(at(v).amps[0]) - amps, 0.05 * volts_rms, 1.42 * volts_rms, xtol=1e-6))
