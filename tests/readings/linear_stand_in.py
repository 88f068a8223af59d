"""A linear stand-in for the circuit: resistors and bench supplies only, solved densely. Same calls as the real one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation


@dataclass(frozen=True)
class FakeParameter:
    name: str
    part: str
    attribute: str
    nominal: float
    spread: float = 0.0
    shape: str = "exact"
    shared: bool = False

    @property
    def sigma(self) -> float:
        width = self.spread * (abs(self.nominal) or 1.0)
        return width / 3**0.5 if self.shape == "uniform" else width


@dataclass(frozen=True)
class FakeStanding:
    circuit: FakeCircuit
    x: np.ndarray
    values: np.ndarray
    matrix: np.ndarray
    settled: np.ndarray
    steps: np.ndarray

    def dc(self, joint: str) -> np.ndarray:
        return np.zeros(self.x.shape[1]) if joint == "chassis" else self.x[self.circuit.joints.index(joint)]

    def row(self, probe: Any) -> np.ndarray:
        return self.dc(probe.red) - self.dc(probe.black)

    def source_ohms(self, red: str, black: str) -> np.ndarray:
        e = np.zeros(len(self.circuit.joints))
        for joint, sign in ((red, 1.0), (black, -1.0)):
            if joint != "chassis":
                e[self.circuit.joints.index(joint)] = sign
        return np.linalg.solve(self.matrix, np.repeat(e[None, :, None], len(self.matrix), 0))[:, :, 0] @ e

    def sensitivities(self, probes: list[Any]) -> np.ndarray:
        out = np.empty((len(probes), len(self.circuit.parameters), self.x.shape[1]))
        for p in range(out.shape[1]):
            step = np.maximum(np.abs(self.values[p]) * 1e-6, 1e-9)
            up, down = self.values.copy(), self.values.copy()
            up[p] += step
            down[p] -= step
            a, b = self.circuit.solve(up), self.circuit.solve(down)
            for i, probe in enumerate(probes):
                out[i, p] = (a.row(probe) - b.row(probe)) / (2 * step)
        return out


class FakeCircuit:
    def __init__(self, amplifier: Amplifier, mains_spread: float = 0.0) -> None:
        self.amplifier = amplifier
        self.joints = [j for j in amplifier.joints if j != "chassis"]
        self.parameters: list[FakeParameter] = []
        self.branches = []
        for part in amplifier.of_kind("resistor", "supply"):
            q = part.values["ohms"]
            self._add(f"{part.name} ohms", part.name, "ohms", q.value, q.spread, q.shape)
            if part.kind == "supply":
                v = part.values["volts"]
                self._add(f"{part.name} volts", part.name, "volts", v.value, v.spread, v.shape)
            self.branches.append(part)
        m = amplifier.mains_volts
        self._add("mains volts", "", "", m, mains_spread, "uniform", True)
        self.column = {p.name: i for i, p in enumerate(self.parameters)}

    def _add(self, *args: Any) -> None:
        self.parameters.append(FakeParameter(*args))

    def apply(self, values: np.ndarray, situation: Situation, faults: tuple[Fault, ...] = ()) -> np.ndarray:
        out = values.copy()
        row = self.column["mains volts"]
        out[row] *= situation.mains_volts / self.parameters[row].nominal
        for fault in faults:
            r = self.column[f"{fault.part} ohms"]
            out[r] = {"open": 1e12, "shorted": 1e-2}.get(fault.mode, out[r] * (fault.value or 1.0))
        for joint, ohms in situation.loads.items():
            self.extra = (joint, ohms)
        self.extra = next(iter(situation.loads.items()), None)
        return out

    extra: tuple[str, float] | None = None

    def solve(self, values: np.ndarray, start: np.ndarray | None = None, strict: bool = True) -> FakeStanding:
        n, samples = len(self.joints), values.shape[1]
        matrix = np.zeros((samples, n, n))
        right = np.zeros((samples, n))
        ratio = values[self.column["mains volts"]] / self.amplifier.mains_volts
        for part in self.branches:
            g = 1.0 / values[self.column[f"{part.name} ohms"]]
            a, b = (self._at(j) for j in part.leads.values())
            for i, j in ((a, b), (b, a)):
                if i is not None:
                    matrix[:, i, i] += g
                    if j is not None:
                        matrix[:, i, j] -= g
            if part.kind == "supply":
                amps = g * values[self.column[f"{part.name} volts"]] * ratio
                for i, sign in ((a, 1.0), (b, -1.0)):
                    if i is not None:
                        right[:, i] += sign * amps
        if self.extra is not None:
            i = self.joints.index(self.extra[0])
            matrix[:, i, i] += 1.0 / self.extra[1]
        x = np.linalg.solve(matrix, right[:, :, None])[:, :, 0].T
        return FakeStanding(self, x, values, matrix, np.ones(samples, bool), np.ones(samples, int))

    def _at(self, joint: str) -> int | None:
        return None if joint == "chassis" else self.joints.index(joint)
