"""The amplifier as a small signal sees it: resistances, windings by their turns, valves by their slopes.

Two uses. Mid-band (``hertz`` None): capacitors and chokes are either a short or an open circuit, the output transformer
is ideal but for its dc ohms, everything is real. At a frequency: capacitors and chokes by their reactance, complex.
The equations are nodal; an ideal transformer is one more unknown, the volts a turn of its core, because every winding
has some resistance: i = (start - end - turns x core)/ohms, and the amp-turns of a core sum to nothing.
"""

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.compiled import elimination as compiled
from firstglow.solver.elimination import FEW, Elimination, plan_elimination
from firstglow.solver.parameters import CONTACT_OHMS, INSULATION_SIEMENS
from firstglow.solver.passive import CHASSIS, PRIMARY_LEADS, Array, Passives, Values, passives

Signs = Mapping[str, float]
Phasors = NDArray[Any]
# valve section -> (electrode whose current, electrode whose volts to the cathode) -> siemens (sample,);
# "plate", "screen" and "grid", currents into the electrode: ("plate", "grid") is gm, ("plate", "plate") is 1/rp.
Slopes = Mapping[str, Mapping[tuple[str, str], Array]]
# (row, column, sign) of every entry of the matrix that one conductance goes into.
Pull = tuple[tuple[int, int, float], ...]

# After the elimination no joint's current may be off by more than this of what flows through it.
RESIDUAL = 1e-7


@dataclass(frozen=True, slots=True)
class Band:
    """Which capacitors and chokes count at mid-band: capacitors of more than so many farads and chokes of less than so
    many henries are shorts, the rest open; by part, from the resistance that each looks into."""

    farads: Mapping[str, float]
    henries: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Response:
    """Volts of every joint for one excitation, (joint, sample); complex at a frequency."""

    number: Mapping[str, int]
    volts: Phasors

    def at(self, red: str, black: str = CHASSIS) -> Phasors:
        """Volts from black to red, (sample,); KeyError for an unknown joint."""
        out = np.zeros(self.volts.shape[1:], dtype=self.volts.dtype)
        for joint, sign in ((red, 1.0), (black, -1.0)):
            if joint != CHASSIS:
                out = out + sign * self.volts[self.number[joint]]
        return out


def at_rest(
    amplifier: Amplifier, situation: Situation, values: Values | None = None, faults: Sequence[Fault] = ()
) -> Passives:
    """The passive network that every frequency shares."""
    return passives(amplifier, situation.but(stimulus_volts=0.0), values, faults, powered=True)


@dataclass(frozen=True, slots=True)
class Layout:
    """Where the pulls of one drawing go: of its structure alone, whatever the values.

    scatter: sparse (entry, pull). rows, columns: of each entry, in the order of rows. of_row: the entries of each row.
    diagonal: the entry of each row on the diagonal. slots: of each entry in the elimination ``plan``. by_row: the same for the
    compiled library.
    """

    plan: Elimination
    scatter: Any
    rows: NDArray[np.int64]
    columns: NDArray[np.int64]
    of_row: tuple[slice, ...]
    diagonal: NDArray[np.int64]
    slots: NDArray[np.int64]
    by_row: compiled.Rows


@lru_cache(maxsize=128)
def _laid_out(size: int, pulls: tuple[Pull, ...]) -> Layout:
    from scipy.sparse import csr_array

    entries = sorted({(row, column) for pull in pulls for row, column, _ in pull})
    number = {entry: k for k, entry in enumerate(entries)}
    triples = [(number[row, column], k, sign) for k, pull in enumerate(pulls) for row, column, sign in pull]
    at, source, signs = (np.array(part) for part in zip(*triples, strict=True))
    plan = plan_elimination(size, entries)
    rows, columns = (np.array(part, dtype=np.int64) for part in zip(*entries, strict=True))
    ends = np.searchsorted(rows, np.arange(size + 1))
    return Layout(
        plan, csr_array((signs.astype(float), (at, source)), shape=(len(entries), len(pulls))), rows, columns,
        tuple(slice(int(a), int(b)) for a, b in itertools.pairwise(ends)),
        np.array([number[k, k] for k in range(size)]), np.array([plan.slot[e] for e in entries]),
        compiled.Rows(*(np.array(part, dtype=np.int32) for part in (ends, columns, [number[k, k] for k in range(size)]))),
    )  # fmt: skip


class SignalNetwork:
    """Factored once for a situation and a batch; every excitation after that is one substitution.

    slopes: of every valve that conducts, at the standing point. values: parameter name -> (sample,).
    hertz: None for mid-band, which then needs ``band`` (see ``find_band``); several: the samples of the first, then
    those of the second, ... stand in one batch.
    resting: what ``at_rest`` gives for the same situation, values and faults, where several frequencies are asked.
    The input(s) are fed from CONTACT_OHMS: shorted until driven.
    """

    def __init__(
        self,
        amplifier: Amplifier,
        situation: Situation,
        slopes: Slopes,
        values: Values | None = None,
        faults: Sequence[Fault] = (),
        hertz: float | Sequence[float] | None = None,
        band: Band | None = None,
        resting: Passives | None = None,
    ) -> None:
        self.amplifier = amplifier
        resting = resting or at_rest(amplifier, situation, values, faults)
        self.resting, self.band = resting, band
        # several frequencies are a batch of their own, each with every sample
        self.hertz = None if hertz is None else np.reshape(np.asarray(hertz, dtype=float), (-1, 1))
        cores = dict.fromkeys(c.core for c in resting.coils if c.kind == "output transformer")
        names = [*resting.joints, *(f"core {name}" for name in cores)]
        self.number = {name: k for k, name in enumerate(names)}
        self._pulls: list[Pull] = []
        self._siemens: list[Phasors] = []
        self._linear(resting)
        for core in cores:
            self._magnetising(core)  # a core without any winding left is held at nothing
            self.pull(np.full(1, INSULATION_SIEMENS), {f"core {core}": 1.0}, {f"core {core}": 1.0})
        for part in amplifier.of_kind("valve"):
            if part.name in slopes and resting.wiring.fitted(part):
                self._valve({lead: resting.wiring.joint(part, lead) for lead in part.leads}, slopes[part.name])
        self._factor()

    # -- equations ----------------------------------------------------------------------------------------------
    def pull(self, siemens: Phasors, rows: Signs, columns: Signs) -> None:
        """A current of ``siemens`` times the signed sum of ``columns`` that leaves ``rows``."""
        number = self.number
        self._pulls.append(
            tuple(
                (number[row], number[column], one * other)
                for row, one in rows.items() if row != CHASSIS
                for column, other in columns.items() if column != CHASSIS
            )
        )  # fmt: skip
        self._siemens.append(siemens)

    def conduct(self, siemens: Phasors, a: str, b: str) -> None:
        """A conductance or admittance between two joints."""
        if a != b:
            ends = {a: 1.0, b: -1.0}
            self.pull(siemens, ends, ends)

    def _linear(self, resting: Passives) -> None:
        wound = {id(c.branch) for c in resting.coils if c.kind in {"choke", "output transformer"}}
        for branch in resting.branches:
            if id(branch) not in wound:
                self.conduct(1.0 / branch.ohms, branch.a, branch.b)
        for store in resting.stores:
            self.conduct(self._capacitor(store.part, store.farads), store.a, store.b)
        for coil in resting.coils:
            if coil.kind == "choke" and coil.henries is not None:
                self.conduct(self._choke(coil.name, coil.henries, coil.branch.ohms), coil.start, coil.end)
            elif coil.kind == "output transformer":
                self._winding(coil.start, coil.end, f"core {coil.core}", coil.turns, 1.0 / coil.branch.ohms)

    def _capacitor(self, name: str, farads: Array) -> Phasors:
        if self.hertz is not None:
            return 2j * np.pi * self.hertz * farads
        assert self.band is not None
        return np.where(farads > self.band.farads.get(name, np.inf), 1.0 / CONTACT_OHMS, 0.0)

    def _choke(self, name: str, henries: Array, ohms: Array) -> Phasors:
        if self.hertz is not None:
            siemens: Phasors = 1.0 / (ohms + 2j * np.pi * self.hertz * henries)
            return siemens
        assert self.band is not None
        return np.where(henries < self.band.henries.get(name, 0.0), 1.0 / ohms, 0.0)

    def _winding(self, start: str, end: str, core: str, turns: Array, siemens: Array) -> None:
        ends = {} if start == end else {start: 1.0, end: -1.0}
        self.pull(siemens, ends, ends)
        self.pull(-turns * siemens, ends, {core: 1.0})
        self.pull(-turns * siemens, {core: 1.0}, ends)
        self.pull(turns * turns * siemens, {core: 1.0}, {core: 1.0})

    def _magnetising(self, core: str) -> None:
        """Primary inductance, where the file states it and a frequency is asked; else the transformer is ideal."""
        part = self.amplifier.parts[core]
        if self.hertz is not None and "inductance" in part.values:
            turns = sum(w.turns.value for w in part.windings if {w.start, w.end} <= PRIMARY_LEADS)
            henries = part.value("inductance")
            if henries > 0:
                siemens = turns**2 / (2j * np.pi * self.hertz * henries)
                self.pull(siemens, {f"core {core}": 1.0}, {f"core {core}": 1.0})

    def _valve(self, joints: Mapping[str, str], slopes: Mapping[tuple[str, str], Array]) -> None:
        cathode = joints["cathode"]
        for (current, volts), siemens in slopes.items():
            if cathode not in (joints[current], joints[volts]):
                rows = {joints[current]: 1.0, cathode: -1.0}
                self.pull(np.asarray(siemens), rows, {joints[volts]: 1.0, cathode: -1.0})

    # -- solution -----------------------------------------------------------------------------------------------
    def _factor(self) -> None:
        """Every entry of the matrix (entry, sample) from the pulls, and its factors (slot, sample)."""
        kind = complex if self.hertz is not None else float
        self._layout = layout = _laid_out(len(self.number), tuple(self._pulls))
        shape = 1 if self.hertz is None else len(self.hertz), max(np.shape(v)[-1] for v in self._siemens)
        self.samples = shape[0] * shape[1]
        table = np.empty((len(self._siemens), *shape), dtype=kind)
        for row, siemens in zip(table, self._siemens, strict=True):
            row[:] = siemens
        self._values = layout.scatter @ table.reshape(len(table), -1)
        factors = np.zeros((layout.plan.slots, self.samples), dtype=kind)
        factors[layout.slots] = self._values
        # never by LAPACK: it pivots, and over thirteen decades of conductance rounds another way than many samples do
        self._factors = layout.plan.factored(factors, pivoting=False)

    def solve(self, injected: Sequence[Mapping[str, Phasors | float]]) -> list[Response]:
        """Responses to currents [A] put into joints (names), one mapping an excitation."""
        b = np.zeros((len(self.number), len(injected), self.samples), dtype=self._values.dtype)
        for k, amps in enumerate(injected):
            for joint, value in amps.items():
                if joint != CHASSIS:
                    b[self.number[joint], k] += value
        x = b.copy()
        self._factors.solve(x)
        self._mend(x, b)
        return [Response(self.number, x[:, k]) for k in range(len(injected))]

    def _mend(self, x: Phasors, b: Phasors) -> None:
        """Where a pivot on the diagonal was too small (a loop about to sing), solve that sample with pivoting."""
        rows, columns = self._layout.rows, self._layout.columns
        if compiled.serves(self._values):
            wrong = compiled.missed(self._layout.by_row, self._values, x, b, RESIDUAL)
        elif x[0].size <= FEW:
            full = np.zeros((self.samples, len(self.number), len(self.number)), dtype=b.dtype)
            full[:, rows, columns] = self._values.T
            off = (full @ x.transpose(2, 0, 1)).transpose(1, 2, 0)
            flow = np.abs(full)[..., None] * np.abs(x.transpose(2, 0, 1))[:, None]
            size = np.maximum(np.abs(b), flow.max(axis=2).transpose(1, 2, 0))
            wrong = (np.abs(off - b) > RESIDUAL * (size + size.max(axis=0) * 1e-9)).any(axis=(0, 1))
        else:
            off = np.empty_like(b)
            for row, own in enumerate(self._layout.of_row):
                np.einsum("en,ekn->kn", self._values[own], x[columns[own]], out=off[row])
            # of what flows, what its own volts drive: never more than the most, so that no sample passes which should not
            size = np.sqrt(np.maximum(_square(b), _square(self._values[self._layout.diagonal][:, None]) * _square(x)))
            off -= b
            wrong = (_square(off) > (RESIDUAL * (size + size.max(axis=0) * 1e-9)) ** 2).any(axis=(0, 1))
        wrong |= ~np.isfinite(x).all(axis=(0, 1))
        for sample in np.nonzero(wrong)[0]:
            dense = np.zeros((len(self.number),) * 2, dtype=b.dtype)
            dense[rows, columns] = self._values[:, sample]
            x[:, :, sample] = np.linalg.solve(dense, b[:, :, sample])

    def driven(self, name: str) -> dict[str, float]:
        """Currents of 1 V (rms, peak: a ratio) from the generator into an input jack."""
        part = self.amplifier.parts[name]
        hot, ground = (self.resting.wiring.joint(part, lead) for lead in ("hot", "ground"))
        return {hot: 1.0 / CONTACT_OHMS, ground: -1.0 / CONTACT_OHMS}

    def drive(self, name: str) -> Response:
        """1 V from the generator into an input jack."""
        return self.solve([self.driven(name)])[0]

    def inject(self, a: str, b: str = CHASSIS) -> Response:
        """1 A into joint ``a`` and out of ``b``: volts are transfer impedances."""
        return self.solve([between(a, b)])[0]


def _square(a: Phasors) -> Array:
    """|a|^2."""
    return np.asarray(a.real**2 + a.imag**2 if np.iscomplexobj(a) else a**2)


def between(a: str, b: str = CHASSIS) -> dict[str, float]:
    """1 A into joint ``a`` and out of ``b``."""
    return {a: 1.0, b: -1.0}


def find_band(
    amplifier: Amplifier, situation: Situation, slopes: Slopes, hertz: float, faults: Sequence[Fault] = ()
) -> Band:
    """Weigh each capacitor's and choke's reactance at ``hertz`` against what it looks into, nominal values.

    A capacitor whose reactance is smaller than the resistance around it passes the signal (a short at mid-band), one
    whose reactance is larger does not matter yet (compensation, grid stoppers' strays); a choke the other way round.
    """
    first = {valve: {pair: np.atleast_1d(s)[:1] for pair, s in table.items()} for valve, table in slopes.items()}
    network = SignalNetwork(amplifier, situation, first, None, faults, hertz)
    omega = 2.0 * np.pi * hertz
    stores = [s for s in network.resting.stores if s.a != s.b]
    chokes = [c for c in network.resting.coils if c.henries is not None and c.start != c.end]
    probes = network.solve([{s.a: 1.0, s.b: -1.0} for s in stores] + [{c.start: 1.0, c.end: -1.0} for c in chokes])
    farads, henries = {}, {}
    for store, probe in zip(stores, probes[: len(stores)], strict=True):
        # only what conducts: two equal capacitors beside each other would each be told that the other is the short
        around = (1.0 / probe.at(store.a, store.b)[0]).real
        farads[store.part] = float(abs(around) / omega)
    for choke, probe in zip(chokes, probes[len(stores) :], strict=True):
        assert choke.henries is not None
        own = 1.0 / (choke.branch.ohms[0] + 1j * omega * choke.henries[0])
        around = 1.0 / probe.at(choke.start, choke.end)[0] - own
        henries[choke.name] = float(1.0 / (omega * abs(around)))
    return Band(farads, henries)
