"""Random states of an amplifier, as the torture tests and benchmarks want them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.circuit import Circuit

MOST_PARTS = 3
TWO_ENDED = ("resistor", "capacitor", "choke", "diode", "pot", "wire", "fuse")


@dataclass(frozen=True)
class State:
    """One random state: how it stands, what is wrong, and parts whose value is a tenth or ten times as much."""

    situation: Situation
    faults: tuple[Fault, ...]
    factors: tuple[tuple[str, float], ...]


def scaled_attribute(part: Part) -> str | None:
    """The attribute that x 0.1 and x 10 act on."""
    return {"resistor": "ohms", "choke": "ohms", "pot": "ohms", "capacitor": "farads", "valve": "perveance"}.get(
        part.kind
    )


def random_state(amplifier: Amplifier, rng: np.random.Generator) -> State:
    """Mains 0..130 %, valves, rectifier and links out, pots anywhere, lamp in or out, up to three parts
    open, shorted, x 0.1 or x 10."""
    envelopes = sorted({p.envelope for p in amplifier.parts.values() if p.envelope})
    out = frozenset(e for e in envelopes if rng.random() < 0.2)
    lifted = frozenset(name for name in amplifier.links if rng.random() < 0.3)
    pots = {p.name: float(rng.random()) for p in amplifier.of_kind("pot")}
    opened = frozenset(p.name for p in amplifier.of_kind("switch") if rng.random() < 0.03)
    lamp = float(rng.choice([25.0, 40.0, 60.0, 100.0, 200.0])) if rng.random() < 0.3 else None
    situation = Situation(
        float(rng.uniform(0.0, 1.3) * amplifier.mains_volts), out=out, lifted=lifted, pots=pots, lamp_watts=lamp,
        switches_open=opened, load=("none" if rng.random() < 0.2 else "dummy"),
    )  # fmt: skip
    faults: list[Fault] = []
    factors: list[tuple[str, float]] = []
    parts = [p for p in amplifier.parts.values() if p.kind in TWO_ENDED or p.kind == "valve" or p.windings]
    for k in rng.choice(len(parts), size=int(rng.integers(0, MOST_PARTS + 1)), replace=False):
        part = parts[int(k)]
        what = rng.random()
        attribute = scaled_attribute(part)
        if attribute is not None and what < 0.4:
            factors.append((f"{part.name} {attribute}", 0.1 if rng.random() < 0.5 else 10.0))
        elif part.windings:
            winding = part.windings[int(rng.integers(len(part.windings)))].name
            faults.append(Fault(part.name, f"{winding} {'open' if what < 0.7 else 'shorted'}"))
        elif part.kind == "valve":
            mode = (
                ("grid to cathode", "dead")
                if "screen" not in part.leads
                else ("plate to screen", "grid to cathode", "dead")
            )
            faults.append(Fault(part.name, mode[int(rng.integers(len(mode)))]))
        elif part.kind in ("wire", "fuse"):
            faults.append(Fault(part.name, "open"))
        elif part.kind == "diode" and what > 0.8:
            faults.append(Fault(part.name, "reversed"))
        else:
            faults.append(Fault(part.name, "open" if what < 0.7 else "shorted"))
    return State(situation, tuple(faults), tuple(factors))


def columns(circuit: Circuit, states: list[State]) -> NDArray[np.float64]:
    """The states as parameter columns (parameter, state)."""
    nominal = circuit.nominal[:, None]
    out = np.empty((len(nominal), len(states)))
    for k, state in enumerate(states):
        values = np.array(nominal)
        for name, factor in state.factors:
            values[circuit.column[name]] *= factor
        out[:, k] = circuit.apply(values, state.situation, state.faults)[:, 0]
    return out
