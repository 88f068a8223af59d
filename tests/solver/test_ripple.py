"""Ripple through filters against closed forms, the reservoir's wave against figures of the trade and scipy."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from builders import Builder
from firstglow.amplifier.situation import Situation
from firstglow.solver.averaged import Averaged, Cell, Inputs, Leg, averaged
from firstglow.solver.ripple import Source, harmonics, pulse_ripple, ripple
from firstglow.solver.waves import cycle_state
from winding_builders import push_pull_windings, single_ended_windings

ON = Situation(230.0)


def source(volts: float, hz_orders: tuple[int, ...] = (2,), hot: str = "HT1", ret: str = "chassis") -> Source:
    return Source(hot, ret, {order: np.full(1, volts, dtype=complex) for order in hz_orders})


class TestFilters:
    @pytest.mark.parametrize(
        ("henries", "microfarads", "mains", "factor"),
        [(10, 8, 50, 30.6), (10, 8, 60, 44.5), (10, 50, 50, 196.4)],  # Radiotron ch. 31: 1/(w^2 L C - 1)
    )
    def test_choke_and_capacitor(self, henries: float, microfarads: float, mains: float, factor: float) -> None:
        b = Builder("filter", mains_hz=mains)
        b.capacitor("C1", "HT1", "chassis", 32e-6)
        b.choke("L1", "HT1", "HT2", henries, 0.01)
        b.capacitor("C2", "HT2", "chassis", microfarads * 1e-6)
        seen = ripple(b.build(), ON, {}, [source(10.0)])
        assert 10.0 / seen.rms("HT2")[0] == pytest.approx(factor, abs=0.05)
        assert seen.rms("HT1")[0] == pytest.approx(10.0, rel=1e-12)  # held

    def test_resistor_sections_by_hand(self) -> None:
        """Two R-C sections at 2, 4 and 6 times 50 Hz, the second loading the first: two complex equations."""
        b = Builder("sections")
        b.capacitor("C1", "HT1", "chassis", 32e-6)
        b.resistor("R1", "HT1", "HT2", 1.5e3)
        b.capacitor("C2", "HT2", "chassis", 16e-6)
        b.resistor("R2", "HT2", "HT3", 22e3)
        b.capacitor("C3", "HT3", "chassis", 8e-6)
        b.resistor("R3", "HT3", "chassis", 100e3)
        seen = ripple(b.build(), ON, {}, [source(4.0, (2, 4, 6))])
        total = 0.0
        for order in (2, 4, 6):
            w = 2 * np.pi * 50 * order
            y = [[1 / 1.5e3 + 1j * w * 16e-6 + 1 / 22e3, -1 / 22e3], [-1 / 22e3, 1 / 22e3 + 1j * w * 8e-6 + 1e-5]]
            by_hand = np.linalg.solve(y, [4.0 / 1.5e3, 0.0])
            assert seen.component("HT3", order=order)[0] == pytest.approx(by_hand[1], rel=1e-6)
            total += abs(by_hand[0]) ** 2
        assert seen.rms("HT2")[0] == pytest.approx(total**0.5, rel=1e-6)
        assert seen.component("HT3", order=3)[0] == 0.0

    def test_two_reservoirs_are_held_together(self) -> None:
        """HT and a bias supply, joined by a resistor: each keeps its own ripple, the joint between is their divider."""
        b = Builder("two")
        for name, joint in (("C1", "HT1"), ("C2", "bias")):
            b.capacitor(name, joint, "chassis", 10e-6)
        b.resistor("R1", "HT1", "middle", 10e3)
        b.resistor("R2", "middle", "bias", 30e3)
        seen = ripple(b.build(), ON, {}, [source(4.0, (2,)), source(1.0, (1,), "bias")])
        assert seen.component("HT1", order=2)[0] == pytest.approx(4.0)
        assert seen.component("bias", order=2)[0] == pytest.approx(0.0, abs=1e-12)
        assert seen.component("middle", order=2)[0] == pytest.approx(3.0, rel=1e-6)
        assert seen.component("middle", order=1)[0] == pytest.approx(0.25, rel=1e-6)


class TestHum:
    GM, RP = 5e-3, 40e3

    def test_single_ended_by_hand(self) -> None:
        """HT ripple stands across plate resistance and primary in series, the screen steady: v x RL/(RL + rp)."""
        b = Builder("single ended")
        b.pentode("V1", "EL84", "plate", "grid", "chassis", "screen")
        b.resistor("R1", "grid", "chassis", 1e3)
        b.capacitor("C2", "screen", "chassis", 1.0)
        b.capacitor("C1", "HT1", "chassis", 32e-6)
        windings = single_ended_windings(5e3, (8.0,), ohms=0.01)
        b.output_transformer(
            "T1", windings, {"plate a": "plate", "centre": "HT1", "common": "chassis", "8": "hot"}, inductance=0.0
        )
        b.load("hot", "chassis")
        slopes = {"V1": {("plate", "plate"): np.full(1, 1 / self.RP), ("plate", "grid"): np.full(1, self.GM)}}
        seen = ripple(b.build(), ON, slopes, [source(6.0)])
        whole = 5e3 * 8.3 / 8.0  # the builder's secondary has 0.3 ohm
        at_load = 6.0 * whole / (whole + self.RP) * 8.0 / 8.3 / (5e3 / 8) ** 0.5
        assert abs(seen.component("hot")[0]) == pytest.approx(at_load, rel=1e-5)

    def test_primary_inductance_takes_its_share(self) -> None:
        b = Builder("inductance")
        windings = single_ended_windings(5e3, (8.0,), ohms=0.01)
        b.output_transformer(
            "T1", windings, {"plate a": "plate", "centre": "HT1", "common": "chassis", "8": "hot"}, inductance=10.0
        )
        b.load("hot", "chassis")
        b.resistor("R1", "plate", "chassis", self.RP)
        b.capacitor("C1", "HT1", "chassis", 32e-6)
        seen = ripple(b.build(), ON, {}, [source(6.0)])
        whole = 1 / (8 / 8.3 / 5e3 + 1 / (2j * np.pi * 100 * 10.0))
        assert abs(seen.component("HT1", "plate")[0]) == pytest.approx(abs(6.0 * whole / (whole + self.RP)), rel=1e-5)

    def test_push_pull_cancels_as_far_as_its_halves_are_alike(self) -> None:
        def hum(second: float) -> float:
            b = Builder("push-pull")
            for n in "ab":
                b.triode(f"V{n}", "12AU7", f"plate {n}", "chassis", f"cathode {n}")
                b.resistor(f"R{n}", f"cathode {n}", "chassis", 10.0)
            b.capacitor("C1", "HT1", "chassis", 32e-6)
            joints = {"plate a": "plate a", "plate b": "plate b", "centre": "HT1", "common": "chassis", "8": "hot"}
            b.output_transformer("T1", push_pull_windings(8e3, (8.0,), half_ohms=50), joints, inductance=0.0)
            b.load("hot", "chassis")
            slopes = {f"V{n}": {("plate", "plate"): np.full(1, 1 / rp)} for n, rp in (("a", 5e3), ("b", second))}
            return float(ripple(b.build(), ON, slopes, [source(6.0)]).rms("hot")[0])

        assert hum(5e3) < 1e-9
        # unequal: currents i = (v -+ e)/(rp + 60) in opposite halves, e the volts of a half: one equation in e
        a, c = 1 / 5060.0, 1 / 6060.0
        load = 4 * 8.3 / 8.0 / 8e3 * 8.0 / 8.3  # conductance that a half sees of the load: 4/Raa, dc ohms beside it
        half = 6.0 * (a - c) / (a + c + 4 / (8e3 * 8.3 / 8.0))
        ratio = 0.5 * (8e3 / 8.0) ** 0.5
        assert load > 0
        assert hum(6e3) == pytest.approx(half / ratio * 8.0 / 8.3, rel=1e-4)


class TestReservoir:
    @staticmethod
    def solved(rs_over_rl: float, w_r_c: float, legs: int = 2) -> tuple[Averaged, float]:
        """Ideal rectifiers, 300 V rms a leg, 50 Hz, 10 kohm load: dc volts at which the load takes what flows."""
        load, farads = 10e3, w_r_c / (2 * np.pi * 50 * 10e3)
        phases = (1, -1)[:legs]
        cell = Cell(tuple(Leg(s, "junction") for s in phases))

        def inputs(volts: float) -> Inputs:
            n = len(phases)
            return Inputs(
                np.full(1, volts), np.full((n, 1), 300.0), np.full((n, 1), rs_over_rl * load), np.full((n, 1), 0.01),
                np.full((n, 1), 1e-9), np.full(1, farads), 50.0, 0.0, 1 / load,
            )  # fmt: skip

        volts = brentq(lambda v: float(averaged(cell, inputs(v)).amps[0]) - v / load, 50.0, 424.0, xtol=1e-9)
        return averaged(cell, inputs(volts)), volts

    @pytest.mark.parametrize(
        ("w_r_c", "rs_percent", "percent"),
        # full wave, rms ripple over dc, integrated waveforms: a reference table of the trade's formula against them
        [(10, 1, 7.14), (10, 10, 5.84), (30, 5, 2.15), (100, 10, 0.59)],
    )
    def test_wave_against_integrated_ones(self, w_r_c: float, rs_percent: float, percent: float) -> None:
        found, volts = self.solved(rs_percent / 100, w_r_c)
        wave = cycle_state(found)[:, 0]
        assert wave.mean() == pytest.approx(volts, rel=1e-4)
        # the table has two or three figures; 48 points a cycle
        assert 100 * np.std(wave) / volts == pytest.approx(percent, rel=0.02)
        parts = harmonics(wave[:, None])
        assert abs(parts[1][0]) + abs(parts[3][0]) < 1e-9 * volts
        rms = np.sqrt(sum(abs(p[0]) ** 2 for p in parts.values()))
        assert rms == pytest.approx(np.std(wave), rel=5e-3)

    @pytest.mark.parametrize("legs", [1, 2])
    def test_wave_against_scipy(self, legs: int) -> None:
        """The same circuit integrated in time (LSODA), ten cycles on: harmonics 1, 2 and 4 to 1 % of the ripple."""
        found, volts = self.solved(0.03, 12.0, legs)
        load, rs = 10e3, 300.0
        farads = 12.0 / (2 * np.pi * 50 * load)

        def rate(t: float, v: np.ndarray) -> list[float]:
            e = 300 * 2**0.5 * np.sin(2 * np.pi * 50 * t)
            drive = (abs(e) if legs == 2 else e) - v[0]
            return [(max(drive, 0.0) / rs - v[0] / load) / farads]

        times = 0.6 + np.arange(4800) / 4800 * 0.02
        run = solve_ivp(rate, (0, 0.62), [volts], "LSODA", times, max_step=1e-4, rtol=1e-8, atol=1e-8)
        assert run.y[0].mean() == pytest.approx(volts, rel=2e-3)  # 0.01 V of junction, 48 points
        mine = harmonics(cycle_state(found))
        second = harmonics(run.y[0][:, None])
        for order in (1, 2, 4):
            assert abs(mine[order][0]) == pytest.approx(abs(second[order][0]), abs=0.012 * np.std(run.y[0])), order

    def test_pulse_rule(self) -> None:
        """Radiotron ch. 31, sqrt 2 I Xc: 6.75 V of 150 mA on 50 uF and 14.07 V of 100 mA on 16 uF, 100 Hz."""
        assert abs(pulse_ripple(np.full(1, 0.15), np.full(1, 50e-6), 50.0)[2][0]) == pytest.approx(6.75, abs=0.005)
        assert abs(pulse_ripple(np.full(1, 0.1), np.full(1, 16e-6), 50.0)[2][0]) == pytest.approx(14.07, abs=0.005)
        half = pulse_ripple(np.full(1, 0.1), np.full(1, 16e-6), 50.0, full_wave=False)
        assert abs(half[1][0]) == pytest.approx(28.13, abs=0.01)

    def test_fourier_of_a_sawtooth(self) -> None:
        """A sawtooth of 10 V peak to peak has 10/(pi n sqrt 2) V rms at its n-th harmonic."""
        wave = (np.arange(4096) / 4096 * 10.0)[:, None]
        for order, volts in harmonics(wave, (1, 2, 5)).items():
            assert abs(volts[0]) == pytest.approx(10 / (np.pi * order * 2**0.5), rel=1e-5)
