"""The amplifier as a small signal sees it: resistances, windings by their turns, valves by their slopes.

Two uses. Mid-band (``hertz`` None): capacitors and chokes are either a short or an open circuit, the output transformer
is ideal but for its dc ohms, everything is real. At a frequency: capacitors and chokes by their reactance, complex.
The equations are nodal; an ideal transformer is one more unknown, the volts a turn of its core, because every winding
has some resistance: i = (start - end - turns x core)/ohms, and the amp-turns of a core sum to nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.elimination import plan_elimination
from firstglow.solver.parameters import CONTACT_OHMS, INSULATION_SIEMENS
from firstglow.solver.passive import CHASSIS, PRIMARY_LEADS, Array, Passives, Values, passives

Signs = Mapping[str, float]
Phasors = NDArray[Any]
# valve section -> (electrode whose current, electrode whose volts to the cathode) -> siemens (sample,);
# "plate", "screen" and "grid", currents into the electrode: ("plate", "grid") is gm, ("plate", "plate") is 1/rp.
Slopes = Mapping[str, Mapping[tuple[str, str], Array]]

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


class SignalNetwork:
    """Factored once for a situation and a batch; every excitation after that is one substitution.

    slopes: of every valve that conducts, at the standing point. values: parameter name -> (sample,).
    hertz: None for mid-band, which then needs ``band`` (see ``find_band``).
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
        hertz: float | None = None,
        band: Band | None = None,
        resting: Passives | None = None,
    ) -> None:
        self.amplifier = amplifier
        resting = resting or at_rest(amplifier, situation, values, faults)
        self.resting, self.hertz, self.band = resting, hertz, band
        cores = dict.fromkeys(c.core for c in resting.coils if c.kind == "output transformer")
        names = [*resting.joints, *(f"core {name}" for name in cores)]
        self.number = {name: k for k, name in enumerate(names)}
        self._entries: dict[tuple[int, int], Phasors] = {}
        self._linear(resting)
        for core in cores:
            self._magnetising(core)  # a core without any winding left is held at nothing
            self.pull(np.full(1, INSULATION_SIEMENS), {f"core {core}": 1.0}, {f"core {core}": 1.0})
        for part in amplifier.of_kind("valve"):
            if part.name in slopes and resting.wiring.fitted(part):
                self._valve({lead: resting.wiring.joint(part, lead) for lead in part.leads}, slopes[part.name])
        self.samples = max(np.size(e) for e in self._entries.values())
        self._factor()

    # -- equations ----------------------------------------------------------------------------------------------
    def pull(self, siemens: Phasors, rows: Signs, columns: Signs) -> None:
        """A current of ``siemens`` times the signed sum of ``columns`` that leaves ``rows``."""
        for row, one in rows.items():
            for column, other in columns.items():
                if CHASSIS not in (row, column):
                    entry = self.number[row], self.number[column]
                    self._entries[entry] = self._entries.get(entry, 0.0) + one * other * siemens

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
                siemens = np.full(1, turns**2 / (2j * np.pi * self.hertz * henries))
                self.pull(siemens, {f"core {core}": 1.0}, {f"core {core}": 1.0})

    def _valve(self, joints: Mapping[str, str], slopes: Mapping[tuple[str, str], Array]) -> None:
        cathode = joints["cathode"]
        for (current, volts), siemens in slopes.items():
            if cathode not in (joints[current], joints[volts]):
                rows = {joints[current]: 1.0, cathode: -1.0}
                self.pull(np.asarray(siemens), rows, {joints[volts]: 1.0, cathode: -1.0})

    # -- solution -----------------------------------------------------------------------------------------------
    def _factor(self) -> None:
        kind = complex if self.hertz is not None else float
        self._plan = plan_elimination(len(self.number), self._entries)
        self._factors = np.zeros((self._plan.slots, self.samples), dtype=kind)
        for entry, value in self._entries.items():
            self._factors[self._plan.slot[entry]] = value
        self._plan.factor(list(self._factors), np.empty(self.samples, dtype=kind))

    def solve(self, injected: Sequence[Mapping[str, Phasors | float]]) -> list[Response]:
        """Responses to currents [A] put into joints (names), one mapping an excitation."""
        b = np.zeros((len(self.number), len(injected), self.samples), dtype=self._factors.dtype)
        for k, amps in enumerate(injected):
            for joint, value in amps.items():
                if joint != CHASSIS:
                    b[self.number[joint], k] += value
        x = b.copy()
        self._plan.solve(list(self._factors), x)
        self._mend(x, b)
        return [Response(self.number, x[:, k]) for k in range(len(injected))]

    def _mend(self, x: Phasors, b: Phasors) -> None:
        """Where a pivot on the diagonal was too small (a loop about to sing), solve that sample with pivoting."""
        off, size = np.zeros_like(b), np.abs(b)
        for (row, column), value in self._entries.items():
            flow = value * x[column]
            off[row] += flow
            size[row] = np.maximum(size[row], np.abs(flow))
        wrong = (np.abs(off - b) > RESIDUAL * (size + size.max(axis=0) * 1e-9)).any(axis=(0, 1))
        for sample in np.nonzero(wrong | ~np.isfinite(x).all(axis=(0, 1)))[0]:
            dense = np.zeros((len(self.number),) * 2, dtype=b.dtype)
            for entry, value in self._entries.items():
                dense[entry] = np.broadcast_to(value, self.samples)[sample]
            x[:, :, sample] = np.linalg.solve(dense, b[:, :, sample])

    def drive(self, name: str) -> Response:
        """1 V (rms, peak: a ratio) from the generator into an input jack."""
        part = self.amplifier.parts[name]
        hot, ground = (self.resting.wiring.joint(part, lead) for lead in ("hot", "ground"))
        return self.solve([{hot: 1.0 / CONTACT_OHMS, ground: -1.0 / CONTACT_OHMS}])[0]

    def inject(self, a: str, b: str = CHASSIS) -> Response:
        """1 A into joint ``a`` and out of ``b``: volts are transfer impedances."""
        return self.solve([{a: 1.0, b: -1.0}])[0]


def find_band(
    amplifier: Amplifier, situation: Situation, slopes: Slopes, hertz: float, faults: Sequence[Fault] = ()
) -> Band:
    """Weigh each capacitor's and choke's reactance at ``hertz`` against what it looks into, nominal values.

    A capacitor whose reactance is smaller than the impedance around it passes the signal (a short at mid-band), one
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
        around = 1.0 / probe.at(store.a, store.b)[0] - 1j * omega * store.farads[0]
        farads[store.part] = float(abs(around) / omega)
    for choke, probe in zip(chokes, probes[len(stores) :], strict=True):
        assert choke.henries is not None
        own = 1.0 / (choke.branch.ohms[0] + 1j * omega * choke.henries[0])
        around = 1.0 / probe.at(choke.start, choke.end)[0] - own
        henries[choke.name] = float(1.0 / (omega * abs(around)))
    return Band(farads, henries)
