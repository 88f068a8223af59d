"""The compiled library, where it is there and belongs to this source."""

import ctypes
import os
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.compiled.build import FOLDER, LIBRARY, digest

PLAIN = "FIRSTGLOW_PLAIN"
"""Environment: set to anything but 0, numpy does it all."""


@cache
def library() -> ctypes.CDLL | None:
    """The library; None where it was not built, is older than its source, or is not wanted."""
    if os.environ.get(PLAIN, "0") not in ("", "0"):
        return None
    try:
        found = ctypes.CDLL(str(FOLDER / LIBRARY))
        found.source.restype = ctypes.c_char_p
        return found if found.source() == digest().encode() else None
    except (OSError, AttributeError):
        return None


def address(a: NDArray[Any] | None) -> int | None:
    """Where an array's numbers stand; it must live for as long as they are asked for."""
    return None if a is None else a.ctypes.data


def rows(a: NDArray[Any], *shape: int) -> NDArray[np.float64]:
    """The array as the library reads it: of this shape, sample beside sample."""
    if a.shape == shape and a.dtype == np.float64 and a.flags.c_contiguous:
        return a
    return np.ascontiguousarray(np.broadcast_to(a, shape), dtype=np.float64)
