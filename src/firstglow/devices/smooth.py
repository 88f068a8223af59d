"""Smooth building blocks shared by the laws: each returns its value and its derivative.

All of them broadcast over numpy arrays, take complex input where the law is analytic (complex-step tests), and stay
finite for any argument up to 1e150 either sign.
"""

from collections.abc import Sequence
from dataclasses import fields
from typing import Any, TypeAlias, TypeVar, cast

import numpy as np

Values: TypeAlias = Any
"""A float, a complex or a numpy array of either: whatever broadcasts."""

RETARDING_VOLTS = 0.2
"""Width over which a current stops as an electrode passes 0 V [V]. Emitted electrons leave a 1050 K cathode with a
mean energy of kT/e = 0.09 V, so the law has no edge there either; twice that also covers the electrode's own slope."""


class DeviceError(ValueError):
    """A valve or device that is unknown, or whose figures do not allow what was asked; the message names the remedy."""


def softplus(u: Values) -> tuple[Values, Values]:
    """ln(1 + exp(u)) and its derivative 1/(1 + exp(-u)), without overflow at either end."""
    u = np.asarray(u)
    if np.iscomplexobj(u):
        sign = np.where(u.real >= 0, 1.0, -1.0)
        t = np.exp(-sign * u)
        return np.where(u.real >= 0, u, 0.0) + np.log1p(t), np.where(u.real >= 0, 1.0, t) / (1.0 + t)
    t = np.exp(-np.abs(u))
    return np.log1p(t) + np.maximum(u, 0.0), np.where(u >= 0, 1.0, t) / (1.0 + t)


def level(*values: Values) -> tuple[Values, Values, Values, Values]:
    """The first four values as arrays of the shape and kind that all of them make together (views where they have it).

    What is computed from them may then be worked on in place.
    """
    arrays = [np.asarray(v) for v in values]
    shape = np.broadcast_shapes(*(a.shape for a in arrays))
    kind = np.result_type(np.float64, *(a.dtype for a in arrays))
    a, b, c, d = (np.broadcast_to(v.astype(kind, copy=False), shape) for v in arrays[:4])
    return a, b, c, d


def positive_part(v: Values, width: float = RETARDING_VOLTS) -> tuple[Values, Values]:
    """The positive part of ``v`` [V], rounded over ``width`` [V], and its derivative.

    0.69 width at 0, v itself above 40 widths, falling as exp(v/width) below 0: a retarding field. What an element gives
    does not depend on its neighbours, to the last bit.
    """
    v = np.asarray(v)
    if not np.iscomplexobj(v) and v.size and v.min() > 40.0 * width:
        return v, 1.0
    value, slope = softplus(v / width)
    return np.where(v.real > 40.0 * width, v, width * value), slope


LawT = TypeVar("LawT")


def stack(laws: Sequence[LawT]) -> LawT:
    """One law whose fields are columns (section, 1), to be called with (section, sample) arrays.

    Raises DeviceError for an empty list or laws of different kinds.
    """
    kinds = {type(law) for law in laws}
    if len(kinds) != 1:
        raise DeviceError(
            f"laws of one kind are stacked, not {sorted(k.__name__ for k in kinds)}; stack each kind apart"
        )
    kind = kinds.pop()
    columns = {f.name: np.array([[getattr(law, f.name)] for law in laws]) for f in fields(cast("Any", kind))}
    return kind(**columns)
