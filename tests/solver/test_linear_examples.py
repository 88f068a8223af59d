"""The linear solutions on the three example amplifiers, from their solved points."""

import itertools
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from test_second_solutions import laws

from firstglow.amplifier import load
from firstglow.amplifier.faults import all_faults
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.circuit import Circuit, compile_circuit
from firstglow.solver.cold import cold_ohms
from firstglow.solver.discharge import capacitor_starts, discharge
from firstglow.solver.midband import ChannelSignal, midband, signal_volts
from firstglow.solver.ripple import hum_volts, ripple_volts
from firstglow.solver.slopes import parameter_values, valve_slopes
from firstglow.solver.standing import Standing
from second_solutions import hazel_signal

EXAMPLES = Path(__file__).parents[2] / "examples"
PRESETS = {"left P1": 0.6, "left P2": 0.6, "right P1": 0.6, "right P2": 0.6}
Solved = tuple[Amplifier, Circuit, Situation, Standing]


@pytest.fixture(scope="module")
def solved() -> Callable[[str], Solved]:
    kept: dict[str, Solved] = {}

    def one(name: str) -> Solved:
        if name not in kept:
            amplifier = load(next(EXAMPLES.glob(f"{name}-*.toml")))
            circuit = compile_circuit(amplifier)
            situation = Situation(amplifier.mains_volts, pots=PRESETS if name == "a" else {})
            kept[name] = amplifier, circuit, situation, circuit.solve(circuit.vector(situation))
        return kept[name]

    return one


def channels(solved: Solved, *faults: Fault) -> dict[str | None, ChannelSignal]:
    amplifier, circuit, situation, standing = solved
    slopes = valve_slopes(circuit, standing.x, standing.values)
    return midband(amplifier, situation, slopes, parameter_values(circuit, standing.values), faults)


@pytest.mark.parametrize("name", ["a", "b", "c"])
def test_loops_are_negative_and_add_up(solved: Callable[[str], Solved], name: str) -> None:
    for channel in channels(solved(name)).values():
        assert channel.loop is not None
        assert channel.loop_gain[0] > 1
        # lifted, the lead's current comes from the chassis, not through the transformer: 1e-4 of the output
        closed = channel.gain_lifted[0] / (1 + channel.loop_gain[0])
        assert channel.gain_closed[0] == pytest.approx(closed, rel=2e-4)
        assert channel.loop.amplifier_gain()[0] == pytest.approx(channel.gain_closed[0], rel=1e-7)


@pytest.mark.parametrize("name", ["a", "c"])
def test_exchanged_plates_turn_the_loop_round(solved: Callable[[str], Solved], name: str) -> None:
    for part in solved(name)[0].of_kind("output transformer"):
        faults = [Fault(part.name, "plates exchanged")]
        if "screen a" in part.leads:
            faults.append(Fault(part.name, "screens exchanged"))
        found = channels(solved(name), *faults)
        assert min(float(c.loop_gain[0]) for c in found.values()) < -1, part.name


def test_hazel_by_hand(solved: Callable[[str], Solved]) -> None:
    """Gain lifted and closed, first stage and output impedance against node equations written out by hand."""
    amplifier, circuit, situation, standing = solved("b")
    numbers = {n: float(standing.values[row, 0]) for n, row in circuit.column.items()}
    joints = {j: float(standing.dc(j)[0]) for j in amplifier.joints if f"dc {j}" in circuit.index}
    joints["heater"] = float((standing.ac("T1 heat 1") - standing.ac("T1 heat 2"))[0])
    hand = hazel_signal.gains(numbers, laws(), joints)
    own = channels(solved("b"))[None]
    # grid leaks of gigohms, 0.01 ohm shorts and the slopes' differences: 2e-4
    assert own.gain_lifted[0] == pytest.approx(hand["lifted"], rel=2e-4)
    assert own.gain_closed[0] == pytest.approx(hand["closed"], rel=2e-4)
    assert own.stages["V1"].plate[0] == pytest.approx(hand["V1 plate"], rel=2e-4)
    assert own.output_ohms_closed[0] == pytest.approx(hand["output ohms"], rel=2e-4)
    slopes = valve_slopes(circuit, standing.x, standing.values)
    seen = signal_volts(amplifier, situation.but(stimulus_volts=0.01), slopes, [("T2 8", "chassis")])[0, 0]
    assert seen == pytest.approx(0.01 * abs(hand["closed"]), rel=2e-4)


def test_hum_falls_as_the_gain_does_and_push_pull_hums_less(solved: Callable[[str], Solved]) -> None:
    _, circuit, situation, standing = solved("b")
    load_pair = [("T2 8", "chassis")]
    closed = hum_volts(circuit, standing, situation, load_pair)[0, 0]
    lifted = hum_volts(circuit, standing, situation.but(feedback="open"), load_pair)[0, 0]
    loop = channels(solved("b"))[None].loop_gain[0]
    # at 100 Hz the coupling capacitors and bypasses are not quite shorts: the loop gain of 1 kHz within a tenth
    assert lifted / closed == pytest.approx(1 + loop, rel=0.1)
    assert 1e-3 < closed < 5e-3
    push_pull = hum_volts(*(solved("c")[k] for k in (1, 3, 2)), load_pair)[0, 0]
    assert push_pull < closed / 100
    nodes = ripple_volts(circuit, standing, situation, [(f"HT{n}", "chassis") for n in (1, 2, 3)])[:, 0]
    assert nodes[0] > 5 * nodes[1] > 25 * nodes[2]


def test_unequal_legs_leave_mains_frequency_in_the_ripple(solved: Callable[[str], Solved]) -> None:
    """(a) has 289 and 288 V legs of 70 and 74 ohm: some mains frequency stands beside twice the mains."""
    from firstglow.solver.ripple import standing_ripple

    _, circuit, situation, standing = solved("a")
    seen = standing_ripple(circuit, standing, situation)
    one, two = (abs(seen.component("HT1", order=n)[0]) for n in (1, 2))
    assert 0.01 * two < one < 0.2 * two
    # the bias supply is half wave: there mains frequency is the larger part
    assert abs(seen.component("bias raw", order=1)[0]) > abs(seen.component("bias raw", order=2)[0])


@pytest.mark.parametrize(("name", "bleeder"), [("a", "R1"), ("b", "R3"), ("c", "R1")])
def test_every_capacitor_from_its_own_volts(solved: Callable[[str], Solved], name: str, bleeder: str) -> None:
    amplifier, _, situation, standing = solved(name)
    start = capacitor_starts(amplifier, situation.mains_volts, standing.dc)
    with_it = discharge(amplifier, situation, start)
    without = discharge(amplifier, situation, start, bleeder_open=frozenset({bleeder}))
    reservoir = "C1a" if name == "b" else "C1" if name == "a" else "C2"
    assert (
        5 < with_it.of(reservoir).below_60_s[0] < 60
    )  # a permanent bleeder: below 60 V within 60 s (workshop practice)
    if name == "c":  # its heater divider is a bleeder too
        assert without.of(reservoir).below_60_s[0] > 1.5 * with_it.of(reservoir).below_60_s[0]
    else:
        assert without.of(reservoir).below_60_s[0] > 10 * with_it.of(reservoir).below_60_s[0]
    assert bleeder in with_it.of(reservoir).path
    if name == "c":  # line to chassis, class Y: may be left at the mains' peak
        assert with_it.of("C1").start_volts[0] == pytest.approx(2**0.5 * 120, rel=1e-9)
    assert all(np.isfinite(c.joules).all() for c in with_it.capacitors)


@pytest.mark.parametrize("name", ["b", "c"])
def test_a_fault_in_the_vector_reads_as_the_fault_itself(solved: Callable[[str], Solved], name: str) -> None:
    """Two rooms' words for one fault: the circuit's parameter overlay and the resting network's own table.

    Compared by the ohms of every part that has two leads on different joints, all valves in. Left out: faults that move
    leads (they are always given as faults), and a short of 0.1 ohm "in its place" against one beside what is left.
    """
    amplifier, circuit, *_ = solved(name)
    off = Situation(0.0)
    pairs = [
        (part.leads[a], part.leads[b])
        for part in amplifier.parts.values()
        for a, b in itertools.pairwise(part.leads)
        if part.leads[a] != part.leads[b]
    ]
    nominal = parameter_values(circuit, circuit.nominal[:, None])
    for case in all_faults(amplifier):
        if case.mode in {"reversed", "plates exchanged", "screens exchanged"} or case.mode.startswith("wrong type"):
            continue
        part = amplifier.parts[case.part]
        if part.kind == "pot" or (part.kind == "rectifier" and case.mode == "heater to cathode"):
            continue  # no row of the circuit carries these yet
        fault = case.at(0.5)
        listed = cold_ohms(amplifier, off, pairs, nominal, [fault])[:, 0]
        laid = parameter_values(circuit, circuit.apply(circuit.nominal[:, None], off, [fault]))
        np.testing.assert_allclose(listed, cold_ohms(amplifier, off, pairs, laid)[:, 0], rtol=0.02, err_msg=str(fault))
