"""No fault passes unnoticed: every part x mode of every example and fragment changes what is solved.

A fault of the table (``amplifier/faults.py``) whose effect the circuit had no row for once read as a healthy amplifier.
"""

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import load
from firstglow.amplifier.faults import FaultCase, all_faults
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.cold import cold_ohms
from firstglow.solver.discharge import capacitor_starts, discharge
from firstglow.solver.phasing import phasing
from firstglow.solver.standing import Standing

ROOT = Path(__file__).parents[2]
FILES = sorted((ROOT / "examples").glob("*.toml")) + sorted((ROOT / "examples/fragments").glob("*.toml"))

# Faults with no effect that any of our solutions could have, by file: (part, mode) -> the physical reason.
WITHOUT_EFFECT: dict[str, dict[tuple[str, str], str]] = {}


@cache
def of(path: Path) -> tuple[Amplifier, Circuit, np.ndarray, Standing]:
    amplifier = load(path)
    circuit = compile_circuit(amplifier)
    nominal = np.array([[p.nominal] for p in circuit.parameters])
    return amplifier, circuit, nominal, circuit.solve(circuit.apply(nominal, Situation(amplifier.mains_volts)))


def standing_moves(path: Path, cases: list[FaultCase]) -> np.ndarray:
    """(case,) largest move of an unknown, over a millionth of it and a microvolt."""
    amplifier, circuit, nominal, healthy = of(path)
    at = Situation(amplifier.mains_volts)
    columns = np.concatenate([circuit.apply(nominal, at, [c.at(0.5)]) for c in cases], axis=1)
    found = circuit.solve(columns, strict=False)
    moved = np.abs(found.x - healthy.x) / (1e-6 + 1e-6 * np.abs(healthy.x))
    return np.where(found.settled, moved.max(axis=0), np.inf)


def cold_moves(amplifier: Amplifier, fault: Fault) -> bool:
    """Ohms from any lead of the part to any other, unplugged, loudspeaker and input as the table of situations has them."""
    part = amplifier.parts[fault.part]
    joints = list(dict.fromkeys(part.leads.values()))
    pairs = [(a, b) for n, a in enumerate(joints) for b in joints[n + 1 :]]
    if not pairs:
        return False
    at = Situation(0.0)
    well, ill = (cold_ohms(amplifier, at, pairs, faults=faults) for faults in ((), (fault,)))
    return bool((np.abs(ill - well) > 1e-6 * np.abs(well) + 1e-6).any())


def fall_moves(path: Path, fault: Fault) -> bool:
    """What stands on the capacitor a second after switch-off."""
    amplifier, _, _, healthy = of(path)
    if amplifier.parts[fault.part].kind != "capacitor":
        return False
    at = Situation(amplifier.mains_volts)
    starts = capacitor_starts(amplifier, amplifier.mains_volts, healthy.dc)
    well, ill = (
        discharge(amplifier, at, starts, faults=faults).capacitor_volts(fault.part, np.array([1.0]))
        for faults in ((), (fault,))
    )
    return bool((np.abs(ill - well) > 1e-6 * np.abs(well)).any())


def turns_move(amplifier: Amplifier, fault: Fault) -> bool:
    """Volts from plate to loudspeaker, unplugged, with a little ac on the secondary."""
    part = amplifier.parts[fault.part]
    if part.kind != "output transformer":
        return False
    hot = next(p.leads["hot"] for p in amplifier.of_kind("load") if p.leads["hot"] in part.leads.values())
    plate = part.leads["plate a"]
    well, ill = (phasing(amplifier, part.name, faults=faults).between(plate, hot) for faults in ((), (fault,)))
    return bool((np.abs(ill - well) > 1e-6).any())


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_every_fault_changes_what_is_solved(path: Path) -> None:
    amplifier = of(path)[0]
    cases = list(all_faults(amplifier))
    moved = standing_moves(path, cases)
    silent = {}
    for case, by in zip(cases, moved, strict=True):
        fault = case.at(0.5)
        if by < 1.0 and not (cold_moves(amplifier, fault) or fall_moves(path, fault) or turns_move(amplifier, fault)):
            silent[case.part, case.mode] = by
    assert set(silent) == set(WITHOUT_EFFECT.get(path.stem, {}))


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_a_wiper_that_touches_nothing_is_seen_wherever_the_pot_stands(path: Path) -> None:
    """A bias preset at its most negative end (position 0) is where the ladder has it."""
    amplifier, circuit, nominal, _ = of(path)
    for pot in amplifier.of_kind("pot"):
        if pot.leads["wiper"] in {pot.leads["end 1"], pot.leads["end 2"]}:
            continue
        for position in (0.0, 0.5, 1.0):
            at = Situation(amplifier.mains_volts, pots={pot.name: position})
            well = circuit.solve(circuit.apply(nominal, at))
            ill = circuit.solve(circuit.apply(nominal, at, [Fault(pot.name, "wiper open")]))
            ohms = circuit.column[f"{pot.name} wiper_ohms"]
            assert ill.values[ohms] > well.values[ohms]
            if pot.words.get("gang") is None and any(t.pot == pot.name for t in amplifier.idle.values()):
                assert np.abs(ill.x - well.x).max() > 1.0, (pot.name, position)


def test_what_no_row_carries_is_an_error() -> None:
    amplifier, circuit, nominal, _ = of(FILES[0])
    at = Situation(amplifier.mains_volts)
    for fault in (Fault("R1", "gassy", 1e-4), Fault("C1", "wiper open"), Fault("R1", "plate to screen")):
        with pytest.raises(ValueError, match="no such"):
            circuit.apply(nominal, at, [fault])
    with pytest.raises(ValueError, match="no such"):
        circuit.apply(nominal, at.but(pots={"P77": 0.5}))
    with pytest.raises(ValueError, match="no such"):
        circuit.apply(nominal, at.but(out=frozenset({"V77"})))


@pytest.mark.parametrize("path", FILES, ids=lambda p: p.stem)
def test_every_wrong_type_has_a_law(path: Path) -> None:
    """A rectifier valve that the table offers for the socket is one that can be solved."""
    from firstglow.devices.catalogue import valve_type

    for case in all_faults(of(path)[0]):
        if case.mode.startswith("wrong type="):
            assert valve_type(case.mode.partition("=")[2]).sections[0].law is not None
