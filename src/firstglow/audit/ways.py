"""Every way in which the amplifier can stand, solved as one batch: what each part meets at worst is read from its columns."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.leg_types import Leg
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.roles import Roles, roles
from firstglow.amplifier.situation import Fault, Situation
from firstglow.audit import couplings
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.idle import stand
from firstglow.solver.overshoot import overshoot
from firstglow.solver.rippled import rippled
from firstglow.solver.standing import SolveError, Standing

if TYPE_CHECKING:
    from firstglow.audit.stress_restart import Restart

Array = NDArray[np.float64]
Level = Literal["now", "high", "low"]


@dataclass(frozen=True, slots=True)
class Way:
    """One way of standing. text: in bench words. level: which mains. runs: everything in and warm. cold: the moment before
    anything draws. ends: presets at their most negative, as the ladder begins: for a while, and asked of capacitors alone. faults:
    a neighbour's, which people expect the rest to survive."""

    text: str
    situation: Situation
    level: Level
    runs: bool = False
    cold: bool = False
    ends: bool = False
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True)
class Stood:
    """The solved batch: ``ways`` are its columns. unsolved: faults that would not settle, by their text. mains: volts of
    each level [V rms]; pots: where the presets stand."""

    amplifier: Amplifier
    circuit: Circuit
    ways: tuple[Way, ...]
    standing: Standing
    unsolved: tuple[str, ...]
    mains: Mapping[Level, float]
    pots: Mapping[str, float]
    _rows: dict[str, Mapping[str, Array] | None] = field(default_factory=dict, repr=False, compare=False)
    swings: dict[tuple[str, str], float] = field(default_factory=dict, repr=False, compare=False)

    @cached_property
    def roles(self) -> Roles:
        """What everything is for."""
        return roles(self.amplifier)

    @cached_property
    def restart(self) -> "Restart | None":
        """What a hot restart brings; worked out when first asked for."""
        from firstglow.audit.stress_restart import restart

        return restart(self)

    def row(self, name: str) -> Mapping[str, Array]:
        """The standing row of a part or winding, (way,) each; empty for what has none."""
        if name not in self._rows:
            try:
                self._rows[name] = self.standing.part(name)
            except KeyError:
                self._rows[name] = None
        return self._rows[name] or {}

    @cached_property
    def _bare(self) -> Mapping[str, Array]:
        """Watts that ripple adds in resistors where no reservoir stands behind the rectifiers, (way,): a quarter as much again as
        the dc there; behind a reservoir a hundredth at most, and not looked at. Faults are left at their dc."""
        if all(s.input == "capacitor" for s in self.roles.supplies):
            return {}
        out: dict[str, Array] = {}
        for k in np.flatnonzero(self.where()):
            alone = self.circuit.solve(np.array(self.standing.values[:, k]), self.standing.x[:, k], strict=False)
            for name, row in rippled(alone, self.ways[k].situation).parts.items():
                more = np.ravel(row.get("watts", 0.0))[0] - np.ravel(alone.part(name)["watts"])[0]
                out.setdefault(name, np.zeros(len(self.ways)))[k] = max(float(more), 0.0)
        return out

    @cached_property
    def ripple_amps(self) -> Mapping[str, float]:
        """Ripple in each electrolytic that no rectifier charges, running on the highest mains [A rms]: its volts at each multiple of the
        mains over its reactance."""
        from firstglow.solver.ripple import standing_ripple

        charged = {c for s in self.roles.supplies for c in (*s.reservoirs, s.reservoir)}
        k = int(np.flatnonzero(self.where(level="high", runs=True))[0])
        alone = self.circuit.solve(np.array(self.standing.values[:, k]), self.standing.x[:, k], strict=False)
        if not self.roles.supplies or not alone.settled.all():
            return {}
        try:
            seen = standing_ripple(self.circuit, alone, self.ways[k].situation)
        except np.linalg.LinAlgError:  # nothing is charged there
            return {}
        out = {}
        for c in self.amplifier.of_kind("capacitor"):
            if c.type == "electrolytic" and c.name not in charged:
                siemens = 2.0 * np.pi * self.amplifier.mains_hz * c.value("farads")
                at = [n * siemens * abs(seen.component(c.leads["+"], c.leads["-"], n)[0]) for n in seen.responses]
                out[c.name] = float(np.sqrt(np.sum(np.square(at))))
        return out

    def ripple_watts(self, name: str) -> Array:
        """What ripple adds to a resistor's watts (way,)."""
        return self._bare.get(name, np.zeros(len(self.ways)))

    def dc(self, joint: str) -> Array:
        """Dc volts to chassis (way,); 0 on the mains side."""
        try:
            return self.standing.dc(joint)
        except KeyError:
            return np.zeros(len(self.ways))

    def ac(self, joint: str) -> Array:
        """Signed volts rms to chassis (way,); 0 where none stand."""
        return self.standing.ac(joint) if self.standing.has_ac(joint) else np.zeros(len(self.ways))

    def where(
        self, *, level: Level | None = None, runs: bool | None = None, cold: bool | None = None, ends: bool = False
    ) -> NDArray[np.bool_]:
        """Which columns are so and no fault (way,). ends: those with the presets at their ends too."""
        return np.array(
            [
                not w.faults
                and (ends or not w.ends)
                and (level is None or w.level == level)
                and (runs is None or w.runs == runs)
                and (cold is None or w.cold == cold)
                for w in self.ways
            ]
        )

    def faults_beside(self, part: Part) -> NDArray[np.bool_]:
        """Which columns are another part's fault (way,)."""
        own = {part.name, part.envelope}
        return np.array([bool(w.faults) and not any(f.part in own for f in w.faults) for w in self.ways])

    def is_in(self, part: Part) -> NDArray[np.bool_]:
        """Whether a valve is in its socket and warm (way,)."""
        return np.array([not w.cold and part.envelope not in w.situation.out for w in self.ways])

    def swing(self, red: str, black: str) -> Array:
        """How many times further than it settles a pair of joints swings at switch-on, (way,): 1 but in the cold start on the
        highest mains, which is the worst of them."""
        out = np.ones(len(self.ways))
        for k, way in enumerate(self.ways):
            if way.cold and way.level == "high":
                if (red, black) not in self.swings:
                    settled = float(self.dc(red)[k] - self.dc(black)[k])
                    laid = self.circuit.vector(way.situation)
                    self.swings[red, black] = overshoot(self.circuit, laid, red, black, settled)
                out[k] = self.swings[red, black]
        return out


def stood(amplifier: Amplifier, mains_now: float | None = None) -> Stood:
    """Every way solved together. mains_now: at the socket today [V rms], default what the file marks. Raises SolveError where a
    way without a fault would not settle."""
    circuit = compile_circuit(amplifier)
    mains = levels(amplifier, mains_now)
    targets = {v: t.amps.value for v, t in amplifier.idle.items() if t.pot}
    set_to = stand(circuit, Situation(mains["now"], idle=targets))
    pots = {k: float(at[0]) for k, at in set_to.pots.items()}
    every = tuple(ways(amplifier, mains, pots))
    laid = np.concatenate([_laid(circuit, way)[:, None] for way in every], axis=1)
    start = np.repeat(set_to.standing.x, len(every), axis=1)
    standing = circuit.solve(laid, start, strict=False)
    lost = [w for w, good in zip(every, standing.settled, strict=True) if not good]
    for way in lost:
        if not way.faults and not way.situation.switches_open:
            raise SolveError(f"{way.text}: would not settle; `firstglow check` first, or try less mains", "HT")
    if lost:
        keep = np.flatnonzero(standing.settled)
        standing = circuit.solve(laid[:, keep], standing.x[:, keep], strict=False)
        every = tuple(every[int(k)] for k in keep)
    return Stood(amplifier, circuit, every, standing, tuple(w.text for w in lost), mains, pots)


def levels(amplifier: Amplifier, mains_now: float | None) -> dict[Level, float]:
    """Volts of each level [V rms]. What the socket may give one day does not shrink because it was read today: the highest and
    the lowest are the file's own, or today's where that is past them."""
    high, low = (amplifier.mains_volts * (1.0 + sign * amplifier.mains_spread) for sign in (1.0, -1.0))
    now = amplifier.mains_volts if mains_now is None else mains_now
    return {"now": now, "high": max(now, high), "low": min(now, low)}


def ways(amplifier: Amplifier, mains: Mapping[Level, float], pots: Mapping[str, float]) -> Iterator[Way]:
    """Every way, then the faults."""
    found = roles(amplifier)
    rectifiers = {p.envelope for p in amplifier.of_kind("rectifier")}
    output = frozenset(o.envelope for o in found.outputs)
    small = frozenset(s.envelope for s in found.smalls) - output - rectifiers
    choke = any(s.input == "choke" for s in found.supplies)
    all_out = f"all valves{' but rectifiers' if rectifiers else ''} out{', choke input unloaded' if choke else ''}"
    pulled: list[tuple[str, frozenset[str]]] = []
    if output:
        pulled.append(("output valves out", output))
    if small:
        pulled.append(("small valves out", small))
    if output and small:
        pulled.append((all_out, output | small))
    most = pulled[-1] if pulled else None
    if len(amplifier.channels) > 1:
        pulled += [
            (f"{c} channel's valves out", mine)
            for c in amplifier.channels
            if (mine := frozenset(p.envelope or "" for p in amplifier.of_kind("valve") if p.channel == c))
        ]
    bench = not amplifier.of_kind("inlet")  # a fragment on bench supplies: no mains to move
    told: tuple[tuple[Level, str], ...] = (("now", ""), ("high", "" if bench else ", highest mains"))
    for level, words in told:
        plain = Situation(mains[level], pots=pots)
        yield Way(f"running{words}", plain, level, runs=True)
        yield Way(f"cold start{words}, nothing drawing yet", plain, level, cold=True)
        ends = {**pots, **{p.pot: p.negative_end for p in found.pots if p.negative_end is not None}}
        if ends != dict(pots):
            low = plain.but(pots=ends)
            yield Way(f"presets at their most negative{words}", low, level, ends=True)
            yield Way(
                f"cold start, presets at their most negative{words}, nothing drawing yet",
                low,
                level,
                cold=True,
                ends=True,
            )
            if most:
                yield Way(f"{most[0]}, presets at their most negative{words}", low.but(out=most[1]), level, ends=True)
        for text, out in pulled:
            yield Way(text + words, plain.but(out=out), level)
        for switch in _standby(amplifier):
            yield Way(f"{switch} open (standby){words}", plain.but(switches_open=frozenset({switch})), level)
    yield Way("running" if bench else "running, lowest mains", Situation(mains["low"], pots=pots), "low", runs=True)
    high = Situation(mains["high"], pots=pots)
    for text, faults in neighbours(amplifier, found):
        yield Way(text, high, "high", faults=faults)


def _standby(amplifier: Amplifier) -> list[str]:
    """Its standby switches, in a rail or in the winding's return."""
    return [p.name for p in amplifier.of_kind("switch") if p.words.get("role") == "standby"]


def neighbours(amplifier: Amplifier, found: Roles) -> Iterator[tuple[str, tuple[Fault, ...]]]:
    """Single faults that people expect the rest to survive: a preset's wiper, the bias supply, a shorted output valve, a coupling
    capacitor that no longer keeps one valve's dc off another's grid."""
    for pot in found.pots:
        if pot.kind.startswith("bias"):
            yield f"wiper of {pot.pot} open", (Fault(pot.pot, "wiper open"),)
    for supply in found.supplies:
        if supply.use == "bias":
            fuses = [p.name for leg in supply.legs for p in _fuses(amplifier, leg)]
            fused = f" or {', '.join(dict.fromkeys(fuses))} open" if fuses else ""
            yield f"bias supply {supply.name} lost{fused}", tuple(Fault(r, "open") for r in supply.rectifiers)
    for output in found.outputs:
        yield f"{output.valve} shorted, plate to cathode", (Fault(output.valve, "plate to cathode"),)
    yield from couplings.faults(amplifier)


def _fuses(amplifier: Amplifier, leg: Leg) -> Iterator[Part]:
    """Fuses in the way of a rectifier."""
    for name in (*leg.series_ac, *leg.series_dc, *(r for stage in leg.stages for plate in stage for r in plate.series)):
        if amplifier.parts[name].kind == "fuse":
            yield amplifier.parts[name]


def _laid(circuit: Circuit, way: Way) -> Array:
    return laid_for(circuit, way.situation, way.cold, way.faults)


def laid_for(circuit: Circuit, situation: Situation, cold: bool, faults: tuple[Fault, ...]) -> Array:
    """A situation with faults laid over it (parameter,); cold: before any valve but a rectifier draws."""
    laid = circuit.vector(situation, faults)
    if cold:
        for part in circuit.amplifier.of_kind("valve"):
            laid[circuit.column[f"{part.name} emission"]] = 0.0
    return laid
