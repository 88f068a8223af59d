"""Readings that start from the standing solution: signal, turns, discharge, cold start, ripple and hum."""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Situation
from firstglow.readings.meters import ReadingsError
from firstglow.readings.probe import Probe

if TYPE_CHECKING:
    from firstglow.readings.asked import Cast

Array = NDArray[np.float64]

# With an indirectly heated rectifier HT rises while the other cathodes already warm: its peak lies anywhere between
# the loaded and the unloaded volts. Silicon and directly heated rectifiers are there first: most of the way up.
LEAST_OF_PEAK = {"indirect": 0.0, "direct": 0.9}
COLD_EMISSION = 1e-6


SIGNAL = frozenset({"signal volts", "gain ratio"})
GAIN_SIGMA = {"triode": 0.10, "pentode": 0.13}
"""How far a stage's amplification stands off its law's at the current it really draws (1 sigma, shared by a type). Root mean
squares of printed gains that the laws were not told (``firstglow accuracy``): 62 of four triodes 10 %, 12 of two pentodes 13 %."""


def gain_chance(kind: str) -> str:
    """What chance is asked under for the gain of a valve type."""
    return f"gain {kind}"


class Others:
    """Everything one block's other readings need, made when first asked for.

    circuit, standing: the block's own; probes: all that will be asked; cast: whose columns these are, all with the
    same faults. shared: what blocks with the same standing solution share. cold: makes the solution with cold cathodes.
    """

    def __init__(
        self,
        amplifier: Amplifier,
        circuit: Any,
        situation: Situation,
        probes: Sequence[Probe],
        standing: Any,
        cast: "Cast",
        shared: dict[str, Any],
        cold: Callable[[], Any],
    ) -> None:
        self.amplifier, self.circuit, self.situation, self.probes = amplifier, circuit, situation, probes
        self.standing, self.cast, self.values, self.faults = standing, cast, cast.values, cast.faults
        self._made: dict[str, Any] = {}
        self._shared, self._cold = shared, cold

    def read(self, probe: Probe, name: str) -> Array:
        """One reading, (sample,) [SI]. ReadingsError for a quantity that is not known."""
        act = {
            "signal volts": self.signal, "gain ratio": self.gain_ratio, "turns volts": self.turns,
            "volts after": self.after, "peak volts": self.peak, "ripple volts": self.ripple, "hum volts": self.ripple,
        }.get(probe.quantity)  # fmt: skip
        if act is None:
            raise ReadingsError(f"reading {name}: nothing computes {probe.quantity}")
        return np.asarray(act(probe, name))

    # -- signal -----------------------------------------------------------------------------------------------
    def slopes(self) -> Any:
        """Slopes of every valve at the standing point."""
        if "slopes" not in self._shared:
            from firstglow.solver.slopes import valve_slopes

            self._shared["slopes"] = valve_slopes(self.circuit, self.standing.x, self.standing.values)
        return self._shared["slopes"]

    def named(self) -> dict[str, Array]:
        """Parameter name -> (sample,): as drawn up, pots where they stand now."""
        if "named" not in self._shared:
            rows = {p.name: self.values[i] for i, p in enumerate(self.circuit.parameters)}
            for i, p in enumerate(self.circuit.parameters):
                if p.attribute == "position":
                    rows[p.name] = self.standing.values[i]
            self._shared["named"] = rows
        named: dict[str, Array] = self._shared["named"]
        return named

    def _pairs(self, *quantities: str) -> list[tuple[str, str]]:
        """Joints of every probe of these quantities, each pair once."""
        return list(dict.fromkeys((p.red, p.black) for p in self.probes if p.quantity in quantities))

    def signal(self, probe: Probe, name: str) -> Array:
        """What the situation's stimulus puts between the joints."""
        return self._signal(self.situation, probe)

    def gain_ratio(self, probe: Probe, name: str) -> Array:
        """The same over what it is with the loop lifted."""
        lifted = self._signal(self.situation.but(feedback="open", test_ohms=None), probe)
        return self._signal(self.situation, probe) / np.maximum(lifted, 1e-12)

    def amplifying(self) -> dict[str, dict[tuple[str, str], Array]]:
        """The slopes, each type's own by what its law may get wrong of them, shared by all valves of the type."""
        from scipy.special import ndtri  # a fifth of a second to load, and few commands come here

        if "amplifying" not in self._shared:
            kinds = {v.name: v.type or "" for v in self.amplifier.of_kind("valve")}
            screened = {v.type or "" for v in self.amplifier.of_kind("valve") if "screen" in v.leads}
            rate = {
                kind: np.exp(
                    GAIN_SIGMA["pentode" if kind in screened else "triode"]
                    * ndtri(self.cast.chance(gain_chance(kind), 0.5))
                )
                for kind in set(kinds.values())
            }
            self._shared["amplifying"] = {
                valve: {key: by * rate[kinds[valve]] if key[1] == "grid" else by for key, by in table.items()}
                for valve, table in self.slopes().items()
            }
        found: dict[str, dict[tuple[str, str], Array]] = self._shared["amplifying"]
        return found

    def _signal(self, situation: Situation, probe: Probe) -> Array:
        from firstglow.solver.midband import signal_volts

        key, pairs = f"signal {situation.feedback}", self._pairs("signal volts", "gain ratio")
        if key not in self._made:
            self._made[key] = signal_volts(
                self.amplifier, situation, self.amplifying(), pairs, self.named(), self.faults
            )
        found: Array = self._made[key][pairs.index((probe.red, probe.black))]
        return found

    def turns(self, probe: Probe, name: str) -> Array:
        """Cold phasing: the size an ac meter shows."""
        from firstglow.solver.phasing import phasing

        transformer = next(
            p.name
            for p in self.amplifier.of_kind("output transformer")
            if probe.red in p.leads.values() and probe.black in p.leads.values()
        )
        key = f"turns {transformer}"
        if key not in self._made:
            rows = {p.name: self.values[i] for i, p in enumerate(self.circuit.parameters)}
            volts = self.situation.stimulus_volts or None
            self._made[key] = phasing(self.amplifier, transformer, volts, rows, self.faults)
        return np.asarray(np.abs(self._made[key].between(probe.red, probe.black)))

    # -- in time ----------------------------------------------------------------------------------------------
    def after(self, probe: Probe, name: str) -> Array:
        """Seconds after switch-off."""
        if "fall" not in self._made:
            from firstglow.solver.cold import ColdNetwork
            from firstglow.solver.decay import Relaxation
            from firstglow.solver.passive import passives

            resting = passives(self.amplifier, self.situation, self.named(), self.faults)
            known = {**{j: self.standing.dc(j) for j in resting.joints if self._is_known(j)}, "chassis": 0.0}
            still = np.zeros(self.cast.samples)
            if not resting.stores:  # nothing that could hold a charge
                return still
            charged = [known.get(s.a, still) - known.get(s.b, still) + still for s in resting.stores]
            self._made["fall"] = Relaxation(ColdNetwork(resting), resting.stores, np.array(charged))
        fall = self._made["fall"]
        return np.asarray(fall.between(probe.red, probe.black).at(np.array([probe.seconds]))[0])

    def _is_known(self, joint: str) -> bool:
        """Does the standing solution know the dc of this joint? Not of the free end of a lifted lead."""
        try:
            self.standing.dc(joint)
        except KeyError:
            return False
        return True

    def peak(self, probe: Probe, name: str) -> Array:
        """Highest of a cold start: rectifier hot, every other cathode still cold, or on its way."""
        if "cold cathodes" not in self._shared:
            self._shared["cold cathodes"] = self._cold()
        plain = Probe(probe.kind, probe.red, probe.black)
        cold, warm = self._shared["cold cathodes"].row(plain), self.standing.row(plain)
        chance = self.cast.chance(f"peak {name}", 0.5)
        from firstglow.solver.overshoot import overshoot, rings

        if rings(self.amplifier):
            # settled with everything cold is seen for seconds, the ring by as much as the meter's hold is quick; it is worked
            # out of the nominal amplifier, over what that one settles at
            laid = self.circuit.vector(self.situation, self.faults)
            if "nominal cold" not in self._made:
                still = cold_cathodes(self.amplifier, self.circuit, laid[:, None])
                self._made["nominal cold"] = self.circuit.solve(still, strict=False)
            settled = float(self._made["nominal cold"].row(plain)[0])
            top = overshoot(self.circuit, laid, probe.red, probe.black, settled)
            return np.asarray(cold * (1.0 + chance * (top - 1.0)))
        least = LEAST_OF_PEAK[self._heating()]
        share = least + (1.0 - least) * chance
        return np.asarray(warm + share * (cold - warm))

    def _heating(self) -> str:
        from firstglow.devices.catalogue import valve_type

        kinds = [valve_type(p.type or "").heating for p in self.amplifier.of_kind("rectifier")]
        return "indirect" if kinds and all(k == "indirect" for k in kinds) else "direct"

    # -- ripple -----------------------------------------------------------------------------------------------
    def ripple(self, probe: Probe, name: str) -> Array:
        """Ripple between the joints, or what of it is left as hum at the load."""
        from firstglow.solver.ripple import ripple_volts

        pairs = self._pairs("ripple volts", "hum volts")
        if "ripple" not in self._made:
            self._made["ripple"] = ripple_volts(
                self.circuit, self.standing, self.situation, pairs, self.named(), self.faults
            )
        return np.asarray(self._made["ripple"][pairs.index((probe.red, probe.black))])


def cold_cathodes(amplifier: Amplifier, circuit: Any, laid: Array) -> Array:
    """Parameters with every valve but the rectifiers cold."""
    out = laid.copy()
    for p in amplifier.of_kind("valve"):
        row = circuit.column.get(f"{p.name} emission")
        if row is not None:
            out[row] = COLD_EMISSION
    return out
