"""The figures that tell how an amplifier stands on its mains, read from one column of a solved batch."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.primaries import primary_groups
from firstglow.amplifier.roles import Roles
from firstglow.amplifier.situation import Situation
from firstglow.audit.ways import Array
from firstglow.readings.rated import section_of
from firstglow.solver.circuit import Circuit
from firstglow.solver.heaters import as_wired
from firstglow.solver.standing import Standing


@dataclass(frozen=True, slots=True)
class Output:
    """One output valve. amps: cathode's; watts: plate volts to CATHODE times plate amps; limit: of its sheet (None: none)."""

    valve: str
    amps: float
    plate_volts: float
    watts: float
    limit: float | None

    @property
    def share(self) -> float | None:
        """Watts over the limit."""
        return self.watts / self.limit if self.limit else None


@dataclass(frozen=True, slots=True)
class Figures:
    """How it stands. primary_volts, mains_amps [rms, harmonics included], mains_watts. heaters: envelope -> (volts, rated).
    ht: supply joints -> volts; bias: likewise. settled: the solution came out."""

    primary_volts: float
    mains_amps: float
    mains_watts: float
    heaters: Mapping[str, tuple[float, float]]
    ht: Mapping[str, float]
    bias: Mapping[str, float]
    outputs: tuple[Output, ...]
    lamp_share: float
    settled: bool

    @property
    def heater_ratio(self) -> float:
        """Volts over rated of the heater that is highest; 1 without any."""
        return max((v / r for v, r in self.heaters.values()), default=1.0)

    @property
    def least_heater_ratio(self) -> float:
        """Of the heater that is lowest."""
        return min((v / r for v, r in self.heaters.values()), default=1.0)


def figures(amplifier: Amplifier, found: Roles, standing: Standing, k: int) -> Figures:
    """Column ``k``. found: the roles of the amplifier (of the unaltered one, where parts were only put in)."""
    lamp = standing.books.flows["lamp"].row
    amps = float(np.asarray(lamp["amps_rms"])[k])
    watts = float(np.broadcast_to(np.asarray(standing.books.given_watts), (standing.samples,))[k])
    ht = [s.joint for s in found.supplies if s.use == "ht"]
    bias = [j for s in found.supplies if s.use == "bias" for j in (s.joint,)]
    nodes = {n.joint: float(standing.dc(n.joint)[k]) for n in found.ht_nodes if n.joint not in ht}
    outputs = []
    for o in found.outputs:
        row = standing.part(o.valve)
        limits = section_of(amplifier.parts[o.valve]).limits
        cathode = row["plate_amps"] + row.get("screen_amps", np.zeros(standing.samples))
        outputs.append(
            Output(o.valve, float(cathode[k]), float(row["plate_volts"][k]), float(row["plate_watts"][k]), limits.plate_watts)
        )  # fmt: skip
    return Figures(
        primary_volts(amplifier, standing, k), amps, watts, heaters(amplifier, standing, k),
        {**{j: float(standing.dc(j)[k]) for j in ht}, **nodes},
        {j: float(standing.dc(j)[k]) for j in bias}, tuple(outputs), lamp_share(standing, k), bool(standing.settled[k]),
    )  # fmt: skip


def primary_volts(amplifier: Amplifier, standing: Standing, k: int) -> float:
    """Volts across the primary in use of the largest mains transformer [V rms]; 0 without one."""
    part = mains_transformer(amplifier)
    if part is None:
        return 0.0
    chain = next(iter(primary_groups(amplifier, part)), ())
    return sum(float(standing.part(f"{part.name} {w.name}")["volts_ac"][k]) for w in chain)


def mains_transformer(amplifier: Amplifier) -> Part | None:
    """The mains transformer with the largest load; None without one."""
    every = amplifier.of_kind("transformer")
    return max(every, key=lambda p: p.values["volt_amps"].value if "volt_amps" in p.values else 0.0, default=None)


def heaters(amplifier: Amplifier, standing: Standing, k: int) -> dict[str, tuple[float, float]]:
    """Envelope -> (volts at its pins, rated volts); what is out of its socket is left out."""
    out = {}
    for part in amplifier.of_kind("heater"):
        row = standing.circuit.column.get(f"{part.envelope} in")
        if row is not None and standing.values[row, k] == 0.0:
            continue
        rated = as_wired(part)[0]
        out[part.envelope or part.name] = (abs(float(standing.part(part.name)["heater_volts"][k])), rated)
    return out


def lamp_share(standing: Standing, k: int) -> float:
    """Watts of the limiter lamp over its rated ones; 0 without one in the line."""
    column, p = standing.circuit.column, standing.values
    if "lamp in" not in column or p[column["lamp in"], k] == 0.0:
        return 0.0
    row = standing.books.flows["lamp"].row
    watts = float(np.asarray(row["volts_rms"])[k]) * float(np.asarray(row["amps_rms"])[k])
    return watts / float(p[column["lamp watts"], k])


def cold(circuit: Circuit, laid: Array) -> Array:
    """The moment before anything draws: every valve without emission, rectifiers as they are (parameter,)."""
    out = np.array(laid)
    for part in circuit.amplifier.of_kind("valve"):
        out[circuit.column[f"{part.name} emission"]] = 0.0
    return out


def targets(amplifier: Amplifier) -> dict[str, float]:
    """Idle amps that a pot sets, by valve."""
    return {v: t.amps.value for v, t in amplifier.idle.items() if t.pot}


def run(
    circuit: Circuit, situations: Sequence[Situation], changes: Sequence[Mapping[str, float]]
) -> tuple[Standing, list[dict[str, float]]]:
    """Warm and running, presets turned until their valves idle at their targets: one column a situation, each with its own
    parameters changed. The presets' positions of each column beside it. Columns that would not settle are marked."""
    laid = np.stack([changed(circuit, s, c) for s, c in zip(situations, changes, strict=True)], axis=1)
    wanted = {v: np.full(laid.shape[1], t) for v, t in targets(circuit.amplifier).items()}
    if not wanted:
        standing = settled(circuit, laid)
        return standing, [{} for _ in situations]
    found = circuit.solve_idle(laid, wanted, strict=False)
    return found.standing, [{p: float(at[k]) for p, at in found.pots.items()} for k in range(laid.shape[1])]


def changed(circuit: Circuit, situation: Situation, change: Mapping[str, float]) -> Array:
    """The amplifier in a situation with some parameters set (parameter,)."""
    laid = circuit.vector(situation)
    for name, value in change.items():
        laid[circuit.column[name]] = value
    return laid


def settled(circuit: Circuit, laid: Array, start: Array | None = None) -> Standing:
    """A batch (parameter, sample) solved from ``start``; what does not come out of it soon is begun afresh, alone. Columns that
    would not settle at all are marked."""
    if start is None:
        return circuit.solve(laid, strict=False)
    first = circuit.solve(laid, start, strict=False, thorough=False)
    lost = np.flatnonzero(~first.settled)
    if not lost.size:
        return first
    x = np.array(first.x)
    x[:, lost] = circuit.solve(laid[:, lost], strict=False).x
    return circuit.solve(laid, x, strict=False, thorough=False)


EFFICIENCY = 0.6
"""Output watts over the watts that the output stage draws at full power, transformer included (class AB pentodes and beam
valves; common practice, 0.5 to 0.65)."""
MORE_AMPS = 1.4
"""Full-power current over idle where no output watts are said (common practice)."""


def full_power(amplifier: Amplifier, found: Roles, idle: Figures) -> dict[str, float]:
    """Ohms from the first HT joint to chassis that take what full power takes beyond idle: a guess, from the output
    transformers' watts; nothing for class A, which draws at idle what it draws at full power."""
    ht = next((s.joint for s in found.supplies if s.use == "ht"), None)
    if ht is None or not idle.outputs:
        return {}
    stage = sum(o.watts for o in idle.outputs)
    said = [p.values["watts"].value for p in amplifier.of_kind("output transformer") if "watts" in p.values]
    watts = sum(said) / EFFICIENCY - stage if said else (MORE_AMPS - 1.0) * stage
    volts = idle.ht[ht]
    return {ht: volts**2 / watts} if watts > 0.02 * stage else {}
