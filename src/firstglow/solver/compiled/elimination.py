"""Straight-line elimination by the compiled library, for ``elimination.Elimination``."""

import ctypes
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.compiled.library import address, library

if TYPE_CHECKING:
    from firstglow.solver.elimination import Pivot

Array = NDArray[Any]


@dataclass(frozen=True, slots=True)
class Program:
    """The pivots as ``elimination.c`` reads them: 32-bit numbers, and where each pivot's own begin."""

    numbers: NDArray[np.int32]
    starts: NDArray[np.int32]


def program_of(pivots: Sequence["Pivot"]) -> Program:
    """Written down once for a circuit."""
    numbers, starts = [len(pivots)], []
    for p in pivots:
        starts.append(len(numbers))
        numbers += [p.row, p.diagonal]
        for group in (p.below, p.right, p.updates):
            numbers += [len(group), *(number for entry in group for number in entry)]
    return Program(np.array(numbers, dtype=np.int32), np.array(starts, dtype=np.int32))


def serves(a: Array) -> bool:
    """Are these numbers that the library takes as they stand, and the library there?"""
    return a.dtype in (np.float64, np.complex128) and a.flags.c_contiguous and library() is not None


def solve(program: Program, a: Array, b: Array, transposed: bool = False) -> None:
    """Replace ``b`` (unknown, ..., sample) by the solution for the matrices ``a`` (slot, sample), which stay as they are."""
    found = library()
    assert found is not None
    slots, n = a.shape
    sizes = _sizes(n, slots, len(b), b.size // (len(b) * n) if b.size else 0)
    flags = int(transposed), int(np.iscomplexobj(a))
    if found.solve(*sizes, *map(_at, (program.numbers, program.starts, a, b)), *flags):
        raise MemoryError(f"no memory to solve for {len(b)} unknowns")


def _sizes(*sizes: int) -> list[ctypes.c_int64]:
    return [ctypes.c_int64(size) for size in sizes]


def _at(a: Array) -> ctypes.c_void_p:
    return ctypes.c_void_p(address(a))
