"""What stands: the solved unknowns of a batch, by the names of joints and parts, with their proof."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from firstglow.solver.averaged import Averaged, Inputs
from firstglow.solver.bookkeeping import Books, keep_books, settled_cycles
from firstglow.solver.currents import Bench, part_flow
from firstglow.solver.frame import Array
from firstglow.solver.nodes import CHASSIS
from firstglow.solver.proof import Proof, prove
from firstglow.solver.rows import standing_row
from firstglow.solver.sensitivity import Reader, Tangent
from firstglow.solver.waves import Waves, pulse_rows, waves

if TYPE_CHECKING:
    from firstglow.solver.circuit import Circuit
    from firstglow.solver.equations import Prepared


class SolveError(Exception):
    """The circuit would not settle. ``joint``: the one that moved most; ``samples``: which samples."""

    def __init__(self, message: str, joint: str, samples: tuple[int, ...] = ()) -> None:
        super().__init__(message)
        self.joint, self.samples = joint, samples


@dataclass(frozen=True, slots=True)
class Standing:
    """A solved batch.

    x: (unknown, sample). values: (parameter, sample). settled: (sample,): settled AND proved; a batch may hold samples
    that are not. steps: (sample,) Newton steps. circuit: what was solved.
    """

    x: Array
    values: Array
    settled: NDArray[np.bool_]
    steps: NDArray[np.int64]
    circuit: "Circuit" = field(repr=False)
    _made: dict[str | tuple[str, str], Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def samples(self) -> int:
        """Columns."""
        return int(self.x.shape[1])

    # -- joints --------------------------------------------------------------------------------------------------
    def dc(self, joint: str) -> Array:
        """Dc volts of a joint to chassis (sample,). The mains side has none. A joint that hangs on a rectifier alone has the
        crest of its wave (``loose_ends``). KeyError for an unknown joint."""
        if "loose ends" not in self._made:
            from firstglow.solver.loose_ends import loose_ends

            self._made["loose ends"] = loose_ends(self)
        loose = self._made["loose ends"].get(joint)
        return self.solved_dc(joint) if loose is None else np.asarray(loose)

    def solved_dc(self, joint: str) -> Array:
        """The same as the equations have it: nothing where no current flows."""
        return self._volts("dc", joint)

    def ac(self, joint: str) -> Array:
        """Volts rms of a joint to chassis, signed by its phase against the primary (sample,); 0 where no winding's volts
        stand. On the mains side: the size of the phasor."""
        volts = self._volts("ac", joint)
        lag = self.circuit.index.get(f"quadrature {joint}")
        return volts if lag is None else np.asarray(np.hypot(volts, self.x[lag]))

    def has_ac(self, joint: str) -> bool:
        """Whether a winding's volts or the mains stand on this joint."""
        return f"ac {joint}" in self.circuit.index

    def _volts(self, kind: str, joint: str) -> Array:
        index = self.circuit.index
        found = index.get(f"{kind} {joint}")
        if found is not None:
            return np.asarray(self.x[found])
        if joint != CHASSIS and f"dc {joint}" not in index and f"ac {joint}" not in index:
            raise KeyError(joint)
        return np.zeros(self.samples)

    # -- parts ---------------------------------------------------------------------------------------------------
    @property
    def bench(self) -> Bench:
        """The solved volts and parameters by name."""
        if "bench" not in self._made:
            self._made["bench"] = Bench(self.circuit.frame, self.x, self.values)
        bench: Bench = self._made["bench"]
        return bench

    @property
    def prepared(self) -> "Prepared":
        """The coefficients that these parameters make."""
        if "prepared" not in self._made:
            with np.errstate(all="ignore"):
                self._made["prepared"] = self.circuit.equations.prepare(self.values)
        prepared: Prepared = self._made["prepared"]
        return prepared

    @property
    def books(self) -> Books:
        """Every part's currents."""
        if "books" not in self._made:
            with np.errstate(all="ignore"):
                self._made["books"] = keep_books(self.bench, self.circuit.equations, self.prepared.coefficients)
        books: Books = self._made["books"]
        return books

    @property
    def cycles(self) -> Mapping[str, tuple[Averaged, Inputs]]:
        """Every rectifier's solved cycle and what stands around it, by the name of its group; the books' where they are kept."""
        if "books" in self._made:
            return self.books.cycles
        if "cycles" not in self._made:
            with np.errstate(all="ignore"):
                made = settled_cycles(self.bench, self.circuit.equations, self.prepared.coefficients)
            self._made["cycles"] = made
        cycles: Mapping[str, tuple[Averaged, Inputs]] = self._made["cycles"]
        return cycles

    def part(self, name: str) -> Mapping[str, Array]:
        """The standing row of a part, a valve section or a winding ("T1 ht a"), each field (sample,). KeyError if unknown."""
        if ("row", name) not in self._made:
            self._made["row", name] = self._valve_row(name) or self._row(name)
        row: Mapping[str, Array] = self._made["row", name]
        return row

    def _valve_row(self, name: str) -> Mapping[str, Array] | None:
        """A valve section's row from its own page of the books: no cycle of the rectifiers is settled for it."""
        part = self.circuit.amplifier.parts.get(name)
        if part is None or part.kind != "valve":
            return None
        with np.errstate(all="ignore"):
            page = Books({name: part_flow(self.bench, part)})
        return standing_row(self.bench, page, name)

    def _row(self, name: str) -> Mapping[str, Array]:
        made = standing_row(self.bench, self.books, name)
        part = self.circuit.amplifier.parts.get(name)
        two = [] if part is None else [self.bench.at(part, lead) for lead in ("1", "2") if lead in part.leads]
        with np.errstate(all="ignore"):
            ohms = self.bench.given(f"{name} ohms", 0.0)
            return {**made, **pulse_rows(self.waves, name, made, ohms, bool(two) and self.bench.has_ac(*two))}

    @property
    def waves(self) -> Waves:
        """The rectifiers' pulses through a mains cycle."""
        if "waves" not in self._made:
            with np.errstate(all="ignore"):
                self._made["waves"] = waves(self)
        made: Waves = self._made["waves"]
        return made

    # -- proof ---------------------------------------------------------------------------------------------------
    @property
    def proof(self) -> Proof:
        """Kirchhoff's sums and the power balance."""
        if "proof" not in self._made:
            with np.errstate(all="ignore"):
                self._made["proof"] = prove(self.books, self.circuit.index)
        proof: Proof = self._made["proof"]
        return proof

    @property
    def residual_amps(self) -> Array:
        """Largest sum of currents at any joint (sample,) [A]."""
        return self.proof.residual_amps

    @property
    def power_balance(self) -> Array:
        """|in - out| over in (sample,)."""
        return self.proof.power_balance

    # -- readings ------------------------------------------------------------------------------------------------
    def row(self, probe: Any) -> Array:
        """What a ``Probe`` reads, before any meter (sample,): "volts" (dc or ac by its kind), "mains amps", "lamp"."""
        return Reader(self.circuit, probe).value(self.x, self.values)

    @property
    def tangent(self) -> Tangent:
        """The factored Jacobian at the solved point."""
        if "tangent" not in self._made:
            self._made["tangent"] = Tangent(self.circuit, self.x, self.values)
        tangent: Tangent = self._made["tangent"]
        return tangent

    def sensitivities(self, probes: Sequence[Any], rows: Sequence[int] | None = None) -> Array:
        """d reading / d parameter at the solved point, (probe, parameter, sample).

        rows: parameters wanted (default: those with a spread); the others stay 0.
        """
        return self.tangent.sensitivities(probes, rows)

    def source_ohms(self, red: str, black: str = CHASSIS) -> Array:
        """Ohms that a meter meets between two joints at dc, (sample,): Thevenin's, of the circuit as it stands."""
        return self.tangent.source_ohms(red, black)
