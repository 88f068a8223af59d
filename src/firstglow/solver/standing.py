"""What stands: the solved unknowns of a batch, by the names of joints and parts."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.frame import Array
from firstglow.solver.nodes import CHASSIS


class SolveError(Exception):
    """The circuit would not settle. ``joint``: the one that moved most; ``samples``: which samples."""

    def __init__(self, message: str, joint: str, samples: tuple[int, ...] = ()) -> None:
        super().__init__(message)
        self.joint, self.samples = joint, samples


@dataclass(frozen=True, slots=True)
class Standing:
    """A solved batch.

    x: (unknown, sample). values: (parameter, sample). settled: (sample,); a batch may hold samples that are not.
    steps: (sample,) Newton steps. index: unknown by name.
    """

    x: Array
    values: Array
    settled: NDArray[np.bool_]
    steps: NDArray[np.int64]
    index: Mapping[str, int]

    def dc(self, joint: str) -> Array:
        """Dc volts of a joint to chassis (sample,). The mains side has none. KeyError for an unknown joint."""
        return self._volts("dc", joint)

    def ac(self, joint: str) -> Array:
        """Volts rms of a joint to chassis, signed by its phase against the primary (sample,); 0 where no winding's volts
        stand. On the mains side: the size of the phasor."""
        volts = self._volts("ac", joint)
        lag = self.index.get(f"quadrature {joint}")
        return volts if lag is None else np.hypot(volts, self.x[lag])

    def _volts(self, kind: str, joint: str) -> Array:
        found = self.index.get(f"{kind} {joint}")
        if found is not None:
            return self.x[found]
        if joint != CHASSIS and f"dc {joint}" not in self.index and f"ac {joint}" not in self.index:
            raise KeyError(joint)
        return np.zeros(self.x.shape[1])
