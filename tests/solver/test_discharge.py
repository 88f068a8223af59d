"""Discharge against closed forms, published figures, and scipy's stiff integrator on hand-written equations."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from builders import Builder, push_pull_fixed, single_ended_cathode
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.discharge import Discharge, Tool, discharge, resistors_across, tool_ohms

OFF = Situation(0.0)


def bench(*parts: tuple[str, str, str, float]) -> Amplifier:
    """Resistors R.. and capacitors C.. (no leakage to speak of) between named joints."""
    b = Builder("bench")
    for name, one, other, size in parts:
        if name.startswith("C"):
            b.capacitor(name, one, other, size, leak_ohms=1e15)
        else:
            b.resistor(name, one, other, size)
    return b.build()


class TestOneCapacitor:
    @pytest.mark.parametrize(
        ("volts", "farads", "ohms", "joules", "to_60", "watts"),
        [  # published example figures: t = R C ln(V0/Vs), E = C V^2/2, P0 = V0^2/R (IEC 60204-1: 60 V in 5 s)
            (450.0, 100e-6, 10e3, 10.125, 2.0149, 20.25),
            (450.0, 47e-6, 220e3, 4.75875, 20.834, 0.92045),
            (500.0, 200e-6, 10e3, 25.0, 4.2405, 25.0),
        ],
    )
    def test_published_figures(
        self, volts: float, farads: float, ohms: float, joules: float, to_60: float, watts: float
    ) -> None:
        done = discharge(bench(("C1", "HT", "chassis", farads)), OFF, {"HT": volts}, tool=Tool("HT", "chassis", ohms))
        fall = done.of("C1")
        assert fall.joules[0] == pytest.approx(joules, rel=1e-12)
        assert fall.below_60_s[0] == pytest.approx(to_60, abs=0.5e-3)  # as printed
        assert done.tool_watts is not None
        assert done.tool_watts[0] == pytest.approx(watts, rel=1e-5)
        assert done.tool_joules is not None
        assert done.tool_joules[0] == pytest.approx(joules, rel=3e-6)  # 220k beside 100G of insulation

    def test_closed_form(self) -> None:
        done = discharge(bench(("C1", "HT", "chassis", 47e-6), ("R1", "HT", "chassis", 220e3)), OFF, {"HT": 450.0})
        tau = 47e-6 / (1 / 220e3 + 1 / 1e11 + 1e-15)
        fall = done.of("C1")
        assert fall.below_10_s[0] == pytest.approx(tau * math.log(45.0), rel=1e-12)
        assert fall.below_60_s[0] == pytest.approx(tau * math.log(7.5), rel=1e-12)
        assert fall.path == ("R1",)
        times = np.array([0.0, 1.0, 10.0, 100.0])
        np.testing.assert_allclose(done.joint_volts("HT", times)[:, 0], 450 * np.exp(-times / tau), rtol=1e-12)

    def test_half_an_hour_with_only_a_meter(self) -> None:
        """47 uF with a 10 Mohm meter: half an hour; 220 kohm 40 s; 10 kohm 2 s (common practice figures, to 10 V)."""
        for ohms, low, high in ((10e6, 1500, 2000), (220e3, 35, 45), (10e3, 1.5, 2.2)):
            amplifier = bench(("C1", "HT", "chassis", 47e-6), ("R1", "HT", "chassis", ohms))
            assert low < discharge(amplifier, OFF, {"HT": 450.0}).of("C1").below_10_s[0] < high

    def test_never_by_itself_and_never_above(self) -> None:
        amplifier = bench(("C1", "HT", "chassis", 47e-6), ("C2", "low", "chassis", 47e-6))
        done = discharge(amplifier, OFF, {"HT": -450.0, "low": 5.0})
        assert done.of("C1").below_10_s[0] == np.inf
        assert done.of("C1").path == ()
        assert done.of("C2").below_10_s[0] == 0.0

    def test_tool_for_the_volts(self) -> None:
        assert tool_ohms(450.0) == 10e3
        assert tool_ohms(600.0) == 10e3
        assert tool_ohms(700.0) == 22e3


class TestTwoCapacitors:
    A, B, R = 40e-6, 10e-6, 100e3

    def test_stranded_charge_is_shared_and_kept(self) -> None:
        """Two capacitors joined by a resistor and nothing else: both end at the mean by charge, C1 V1 + C2 V2 stays."""
        amplifier = bench(("C1", "a", "chassis", self.A), ("C2", "b", "chassis", self.B), ("R1", "a", "b", self.R))
        done = discharge(amplifier, OFF, {"a": 400.0, "b": -100.0})
        mean = (self.A * 400 - self.B * 100) / (self.A + self.B)
        tau = self.R / (1 / self.A + 1 / self.B)
        for t in (0.1, 1.0, 5.0):
            a, b = (done.joint_volts(joint, np.array([t]))[0, 0] for joint in "ab")
            # insulation takes 1e11 ohm x 50 uF = 5e6 s: 1e-6 of the charge in 5 s
            assert a == pytest.approx(mean + (400 - mean) * math.exp(-t / tau), rel=5e-6)
            assert b == pytest.approx(mean + (-100 - mean) * math.exp(-t / tau), rel=5e-5)
            assert self.A * a + self.B * b == pytest.approx(self.A * 400 - self.B * 100, rel=5e-6)
        assert done.of("C2").below_10_s[0] == np.inf  # it rises through zero and stays at 300 V
        assert done.of("C1").below_60_s[0] == np.inf

    def test_two_sections_by_the_quadratic(self) -> None:
        """C1 - R1 - C2 with a bleeder R2 on C2: s^2 + s (...) + 1/(R1 C1 R2 C2) = 0 by hand."""
        r1, r2 = 22e3, 220e3
        amplifier = bench(
            ("C1", "a", "chassis", self.A),
            ("C2", "b", "chassis", self.B),
            ("R1", "a", "b", r1),
            ("R2", "b", "chassis", r2),
        )
        done = discharge(amplifier, OFF, {"a": 450.0, "b": 300.0})
        p = 1 / (r1 * self.A) + 1 / (r1 * self.B) + 1 / (r2 * self.B)
        q = 1 / (r1 * self.A * r2 * self.B)
        fast = (p + math.sqrt(p * p - 4 * q)) / 2
        rates = np.array([q / fast, fast])
        # a(0) = 450, a'(0) = (300 - 450)/(R1 C1)
        weights = np.linalg.solve([[1, 1], -rates], [450.0, -150.0 / (r1 * self.A)])
        times = np.array([0.01, 0.3, 3.0, 30.0, 60.0])
        by_hand = np.exp(-np.outer(times, rates)) @ weights
        # insulation of 2 x 1e11 beside 220k: 4e-6 of the slow rate, six time constants
        np.testing.assert_allclose(done.joint_volts("a", times)[:, 0], by_hand, rtol=5e-5)
        assert done.of("C1").path == ("R1", "R2")
        assert resistors_across(amplifier, "C2") == ("R2",)
        assert resistors_across(amplifier, "C1") == ()

    def test_parallel_and_looped_capacitors_share_at_once(self) -> None:
        """Three capacitors in a triangle that disagree: charge shares at once, C_x x = q by hand."""
        amplifier = bench(
            ("C1", "a", "chassis", 1e-6),
            ("C2", "b", "chassis", 2e-6),
            ("C3", "a", "b", 3e-6),
            ("R1", "a", "chassis", 1e6),
        )
        done = discharge(amplifier, OFF, {"C1": 100.0, "C2": 50.0, "C3": 0.0})
        a, b = np.linalg.solve([[4e-6, -3e-6], [-3e-6, 5e-6]], [1e-6 * 100, 2e-6 * 50])
        assert done.of("C1").start_volts[0] == pytest.approx(a, rel=1e-12)
        assert done.of("C3").start_volts[0] == pytest.approx(a - b, rel=1e-9)
        same = bench(("C1", "a", "chassis", 1e-6), ("C2", "a", "chassis", 3e-6))
        assert discharge(same, OFF, {"C1": 100.0, "C2": 0.0}).of("C2").start_volts[0] == pytest.approx(25.0, rel=1e-12)

    def test_a_capacitor_that_rises_before_it_falls(self) -> None:
        amplifier = bench(
            ("C1", "a", "chassis", 100e-6),
            ("C2", "b", "chassis", 1e-6),
            ("R1", "a", "b", 1e6),
            ("R2", "b", "chassis", 1e6),
        )
        done = discharge(amplifier, OFF, {"a": 400.0, "b": 0.0})
        fall = done.of("C2")
        times = np.linspace(0, 600, 600_001)
        volts = done.capacitor_volts("C2", times)[:, 0]
        assert volts.max() > 150
        assert fall.below_60_s[0] == pytest.approx(times[np.nonzero(volts > 60)[0][-1]], abs=1.5e-3)
        assert fall.start_volts[0] == pytest.approx(0.0, abs=1e-9)


OUT = Situation(0.0, out=frozenset({"V1", "V2", "V3", "V4"}))
START = {
    "HT1": 470.0, "HT2": 468.0, "HT3": 465.0, "HT4": 460.0, "bias raw": -71.0, "bias": -63.0, "V1b plate": 465.0,
    "V1b cathode": 0.0, "V2 drive": -52.0, "V3 drive": -52.0,
}  # fmt: skip


def hand_written_rowan(bleeder: float) -> tuple[np.ndarray, np.ndarray]:
    """`push_pull_fixed` with valves out, written out again: G and C over the joints of START and four of the pots."""
    n = {j: i for i, j in enumerate([*START, "w1", "w2", "f1", "f2"])}
    g, c = np.zeros((14, 14)), np.zeros((14, 14))

    def put(m: np.ndarray, a: str, b: str | None, x: float) -> None:
        m[n[a], n[a]] += x
        if b is not None:
            m[n[b], n[b]] += x
            m[n[a], n[b]] -= x
            m[n[b], n[a]] -= x

    for a, b, r in [
        ("HT1", "HT2", 90.0), ("HT2", "HT3", 15e3), ("HT3", "HT4", 22e3), ("HT1", None, bleeder),
        ("bias raw", "bias", 3.3e3), ("HT3", "V1b plate", 56e3), ("V1b cathode", None, 56e3),
        ("bias", "w1", 7.5e3), ("bias", "w2", 7.5e3), ("w1", "f1", 17.5e3), ("w2", "f2", 17.5e3), ("f1", None, 33e3),
        ("f2", None, 33e3), ("V2 drive", "w1", 220001.0), ("V3 drive", "w2", 220001.0),
    ]:  # fmt: skip
        put(g, a, b, 1 / r)
    for a, b, x in [
        ("HT1", None, 33e-6), ("HT2", None, 47e-6), ("HT3", None, 22e-6), ("HT4", None, 22e-6),
        ("bias raw", None, 47e-6), ("bias", None, 47e-6), ("V1b plate", "V3 drive", 0.22e-6),
        ("V1b cathode", "V2 drive", 0.22e-6),
    ]:  # fmt: skip
        put(c, a, b, x)
        put(g, a, b, 1e-9)  # leakage 1 Gohm each, as the builder's table says
    return g, c


class TestWholeAmplifier:
    def run(self, **options: object) -> Discharge:
        return discharge(push_pull_fixed(), OUT, START, **options)  # type: ignore[arg-type]

    @pytest.mark.parametrize("bleeder", [220e3, 10e3])
    def test_against_a_stiff_integrator(self, bleeder: float) -> None:
        """scipy's Radau on the equations above, 1 pF more at every joint so that each has a derivative."""
        g, c = hand_written_rowan(bleeder)
        rate = -np.linalg.solve(c + 1e-12 * np.eye(14), g)
        times = np.array([0.05, 0.5, 2.0, 5.0, 20.0, 60.0])
        start = [*START.values(), -52.0, -52.0, -34.0, -34.0]
        second = solve_ivp(lambda _t, v: rate @ v, (0, 60), start, "Radau", times, jac=rate, rtol=1e-9, atol=1e-8)
        done = self.run(values={"R3 ohms": bleeder})
        for k, joint in enumerate(START):
            # the wires, insulation and pF that one side has and the other has not: 2e-5 of HT
            got = done.joint_volts(joint, times)[:, 0]
            np.testing.assert_allclose(got, second.y[k], atol=2e-5 * 470, rtol=1e-4, err_msg=joint)

    def test_energy_goes_somewhere(self) -> None:
        """All that was stored is burnt in the resistances: integral of (volts^2/ohms) over every branch."""
        done = self.run(tool=Tool("HT1", "chassis", 10e3))
        assert done.relaxation is not None
        network = done.relaxation.network
        burnt = sum(done.relaxation.between(b.a, b.b).square_integral()[0] / b.ohms[0] for b in network.branches)
        assert burnt == pytest.approx(sum(float(c.joules[0]) for c in done.capacitors), rel=1e-9)

    def test_bleeder_and_tool(self) -> None:
        with_it, without = self.run(), self.run(bleeder_open=frozenset({"R3"}))
        assert with_it.of("C1").below_10_s[0] < 120
        assert with_it.of("C4").path == ("R2", "R1", "L1", "R3")
        for name in ("C1", "C2", "C3", "C4", "C8"):
            assert without.of(name).below_10_s[0] == np.inf, name
        helped = self.run(bleeder_open=frozenset({"R3"}), tool=Tool("HT1", "chassis", tool_ohms(470.0)))
        # 124 uF in all through 10 kohm: 1.24 s and the droppers' lag
        assert helped.of("C1").below_10_s[0] < helped.of("C3").below_10_s[0] < helped.of("C4").below_10_s[0] < 10
        assert helped.tool_watts is not None
        assert helped.tool_watts[0] == pytest.approx(470.0**2 / 10e3, rel=1e-9)

    def test_a_lifted_link_strands_charge(self) -> None:
        cut = OUT.but(lifted=frozenset({"L1 2"}))
        done = discharge(push_pull_fixed(), cut, START, tool=Tool("HT1", "chassis", 10e3))
        assert done.of("C1").below_10_s[0] < 2
        left = done.left(60.0)
        assert set(left) == {"C2", "C3", "C4", "C8"}
        assert left["C2"][0] > 440
        assert done.of("C2").path == ()

    def test_high_by_tolerance_is_slower(self) -> None:
        """C and R both 20 and 5 % up: the bleeder's time by 1.2 x 1.05; leakage counts for nothing."""
        ratio = self.run(high=True).of("C1").below_10_s[0] / self.run().of("C1").below_10_s[0]
        assert ratio == pytest.approx(1.2 * 1.05, rel=5e-3)

    def test_a_batch_is_its_samples(self) -> None:
        rng = np.random.default_rng(2)
        batch = {"R3 ohms": rng.uniform(100e3, 400e3, 5), "C2 farads": rng.uniform(30e-6, 60e-6, 5)}
        volts = dict(START, HT1=rng.uniform(400, 500, 5))
        together = discharge(push_pull_fixed(), OUT, volts, values=batch)
        for k in range(5):
            alone = discharge(
                push_pull_fixed(),
                OUT,
                dict(volts, HT1=volts["HT1"][k]),
                values={n: v[k] for n, v in batch.items()},
            )
            for one, all_ in zip(alone.capacitors, together.capacitors, strict=True):
                assert all_.below_10_s[k] == pytest.approx(one.below_10_s[0], rel=1e-9)

    def test_faults_and_missing_starts(self) -> None:
        leaky = self.run(bleeder_open=frozenset({"R3"}), faults=[Fault("C2", "leaks", 100e3)])
        assert leaky.of("C1").below_10_s[0] < 60
        gone = self.run(faults=[Fault("C1", "open")])
        assert {c.part for c in gone.capacitors} == {f"C{k}" for k in range(2, 9)}
        with pytest.raises(ValueError, match="C4"):
            discharge(push_pull_fixed(), OUT, {k: v for k, v in START.items() if k != "HT4"})
        with pytest.raises(KeyError, match="R3"):
            self.run().capacitor_volts("R3", np.zeros(1))


def test_single_ended_cathode_bypass_empties_through_its_resistor() -> None:
    amplifier = single_ended_cathode()
    start = dict.fromkeys(amplifier.joints, 0.0) | {"V2 cathode": 8.0, "HT1": 290.0, "HT2": 280.0, "HT3": 250.0}
    done = discharge(amplifier, Situation(0.0), start)
    assert done.of("C7").path == ("R12",)
    assert done.of("C1").path == ("R3",)
    assert done.of("C3").path == ("R2", "R1", "R3")


def test_nothing_holds_charge() -> None:
    done = discharge(bench(("R1", "a", "chassis", 1e3)), OFF, {})
    assert done.capacitors == ()
    assert done.joint_volts("a", np.zeros(2)).shape == (2, 1)
