"""A rectifier's cycle by the compiled library: ``averaged.averaged`` for legs that take turns."""

import ctypes
from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from firstglow.solver.cells import FIRST, WAVE, Along, Array, Problem
from firstglow.solver.compiled.library import address, library, rows

_NUMBERS = ("samples", "cells", "legs", "ways", "passes", "heat")
_POINTERS = (
    "phase", "junction", "wave", "volts", "emf", "ohms", "scale", "limit", "leak", "sense", "esr", "drain", "keep", "beta",
    "back", "moves", "start", "state", "unsettled", "values", "slopes", "carry",
)  # fmt: skip
LANES = 8
_MOVES = ("emf", "ohms", "scale", "limit")


class _Cycle(ctypes.Structure):
    """As ``cycle.c`` has it."""

    _fields_ = [(n, ctypes.c_int64) for n in _NUMBERS] + [(n, ctypes.c_void_p) for n in _POINTERS]


@dataclass(frozen=True, slots=True)
class Run:
    """state (cell + 1, sample), unsettled (sample,), values (result, leg, sample) and slopes (result, leg, cause, sample) as
    ``averaged.Averaged`` has them; carry (block, cell + 1, cause, lane): how the state moves with each cause."""

    state: Array
    unsettled: Array
    values: Array
    slopes: Array
    carry: Array


@dataclass(frozen=True, slots=True)
class Moves:
    """``averaged.Carry`` of a compiled run."""

    table: Array

    def state(self, state: Array, volts: Array, ways: Array) -> Array:
        """The settled ``state`` moved along with ``volts`` (sample,) and ``ways`` (way, sample): right to the first order."""
        found, by, out = library(), np.concatenate([volts[None], ways]), np.empty(state.shape)
        assert found is not None
        size = [ctypes.c_int64(n) for n in (state.shape[1], len(state), len(by))]
        given = [rows(self.table, *self.table.shape), rows(by, *by.shape), rows(state, *state.shape), out]
        found.carried(*size, *(ctypes.c_void_p(address(a)) for a in given))
        return out


def serves(p: Problem) -> bool:
    """Is this problem one that the library solves, and the library there?"""
    plain = p.mutual is None and p.ramp is None and p.dent is None and p.volts.ndim == 1
    return plain and library() is not None


def run(p: Problem, start: Array, passes: int, along: Sequence[Along], heat: bool) -> Run:
    """Newton passes from ``start`` (cell + 1, sample), each sample until it is settled."""
    found = library()
    assert found is not None
    legs, n = p.emf.shape
    results, causes = 3 if heat else 2, 1 + len(along)
    one = {name: rows(getattr(p, name), n) for name in ("volts", "drain", "keep", "beta", "back")}
    one |= {name: rows(getattr(p, name), legs, n) for name in ("emf", "ohms", "scale", "limit")}
    one |= {"phase": np.array(p.phase, dtype=np.int64), "junction": np.array(p.junction, dtype=np.int64), "wave": WAVE}
    one |= {name: rows(v, legs, n) for name in ("leak", "sense") if (v := getattr(p, name)) is not None}
    if p.esr is not None:
        one["esr"] = rows(p.esr, n)
    moves = [None if (v := getattr(way, name)) is None else rows(v, legs, n) for way in along for name in _MOVES]
    made = Run(
        np.empty((p.cells + 1, n)), np.empty(n), np.empty((results, legs, n)), np.empty((results, legs, causes, n)),
        np.empty((-(-n // LANES), p.cells + 1, causes, LANES)),
    )  # fmt: skip
    one |= {"start": rows(start, p.cells + 1, n)} | {f.name: getattr(made, f.name) for f in fields(made)}
    table = (ctypes.c_void_p * max(len(moves), 1))(*map(address, moves))
    asked = _Cycle(n, p.cells, legs, len(along), passes, heat, **{name: address(v) for name, v in one.items()})
    asked.moves = ctypes.addressof(table)
    if found.cycle(ctypes.byref(asked)):
        raise MemoryError(f"no memory for a rectifier's cycle of {legs} legs and {len(along) + FIRST} rows")
    return made
