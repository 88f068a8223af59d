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


@dataclass(frozen=True, slots=True)
class Rows:
    """Entries of a matrix row by row: where each row's first is, (row + 1,), the column of each, and each row's on the diagonal."""

    begins: NDArray[np.int32]
    columns: NDArray[np.int32]
    diagonal: NDArray[np.int32]


def missed(rows: Rows, a: Array, x: Array, b: Array, share: float) -> NDArray[np.bool_]:
    """Which samples' ``x`` (unknown, side, sample) does not bear out the entries ``a`` (entry, sample) times x = ``b``: in some row
    more is missing than ``share`` of what flows there."""
    found = library()
    assert found is not None
    wrong = np.empty(a.shape[1], dtype=np.uint8)
    sizes = _sizes(a.shape[1], len(b), b.size // (len(b) * a.shape[1]))
    given = [_at(part) for part in (rows.begins, rows.columns, rows.diagonal, a, x, b)]
    if found.check(*sizes, *given, ctypes.c_double(share), _at(wrong), int(np.iscomplexobj(a))):
        raise MemoryError(f"no memory to check {len(b)} unknowns")
    return wrong.astype(bool)


@dataclass(frozen=True, slots=True)
class Table:
    """A sparse table (row, column): where each row's first entry is (row + 1,), the column and value of each."""

    begins: NDArray[np.int32]
    columns: NDArray[np.int32]
    values: NDArray[np.float64]


def table_of(sparse: Any) -> Table:
    """From scipy's sparse rows."""
    whole = np.asarray(sparse.indptr, dtype=np.int32), np.asarray(sparse.indices, dtype=np.int32)
    return Table(*whole, np.asarray(sparse.data, dtype=np.float64))


def product(table: Table, x: Array, base: Array | None = None) -> Array:
    """``base`` (row, sample), or nothing, and the table times ``x`` (column, sample)."""
    found = library()
    assert found is not None
    n = x.shape[1]
    x, base = np.ascontiguousarray(x), None if base is None else np.ascontiguousarray(base)
    out = np.empty((len(table.begins) - 1, n))
    given = [_at(part) for part in (table.begins, table.columns, table.values, x)]
    base_at = ctypes.c_void_p(None) if base is None else _at(base)
    found.product(*_sizes(n, len(out)), *given, base_at, _at(out))
    return out


def _sizes(*sizes: int) -> list[ctypes.c_int64]:
    return [ctypes.c_int64(size) for size in sizes]


def _at(a: Array) -> ctypes.c_void_p:
    if not a.flags.c_contiguous:  # the library would read what stands beside it
        raise ValueError("a table that is not in one piece")
    return ctypes.c_void_p(address(a))
