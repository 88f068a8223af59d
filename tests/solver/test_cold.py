"""Power-off ohms of whole amplifiers against sums done by hand, exact enumeration and finite differences."""

import itertools
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from builders import Builder, push_pull_fixed, single_ended_cathode
from firstglow.amplifier.faults import all_faults
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.cold import cold_ohms, cold_sensitivities
from winding_builders import primary, tapped

OUT = Situation(0.0, out=frozenset({"V1", "V2", "V3", "V4"}))


def tight(amplifier: Amplifier) -> dict[str, object]:
    """Capacitors and rectifiers that do not leak, so that sums by hand have no tail."""
    return {f"{c.name} leak_ohms": 1e15 for c in amplifier.of_kind("capacitor", "diode")}


def parallel(*ohms: float) -> float:
    return 1.0 / sum(1.0 / r for r in ohms)


def near(expected: float) -> object:
    """Some sixty joints, each held by 100 Gohm, draw a reading down by at most R^2 60/1e11."""
    return pytest.approx(expected, rel=1e-9, abs=expected**2 * 60 / 1e11)


def one(amplifier: Amplifier, red: str, black: str, situation: Situation = OUT, *faults: Fault, **kw: object) -> float:
    values = tight(amplifier)
    return float(cold_ohms(amplifier, situation, [(red, black)], values, faults, **kw)[0, 0])  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def rowan() -> Amplifier:
    return push_pull_fixed()


class TestByHand:
    """`push_pull_fixed` of tests/builders.py."""

    @pytest.mark.parametrize(
        ("red", "black", "expected"),
        [
            ("HT1", "chassis", 220e3),  # bleeder
            ("HT2", "chassis", 90.0 + 220e3),  # choke, bleeder
            ("HT4", "HT1", 22e3 + 15e3 + 90.0),  # two droppers, choke
            ("V1a plate", "HT1", 220e3 + 22e3 + 15e3 + 90.0),
            ("T2 plate a", "HT1", 95.0),
            ("T2 plate a", "T2 plate b", 190.0),
            ("V2 cathode", "chassis", 10.0),
            # wiper at 0.3 of 25k: 7.5k to the bias node on one side, on the other foot, chassis and the other pot
            ("V2 grid", "bias", 2.2e3 + 220e3 + 1.0 + parallel(7.5e3, 17.5e3 + 33e3 + 33e3 + 25e3)),
            ("bias", "chassis", parallel(58e3, 58e3)),
            ("bias raw", "chassis", 3.3e3 + 29e3),
            ("T1 ht 1", "T1 ht 2", 110.0),
            ("line", "neutral", 0.1 + 0.02 + 9.0 + 0.01),  # fuse, switch, primary, lead
            # secondary: 4 ohm section 0.3, the rest 0.3 (sqrt 2 - 1); 8 ohm load; loop 22k to 1.5k
            ("loudspeaker hot", "chassis", parallel(0.3 * 2**0.5, 8.0, 23.5e3)),
            ("V1a cathode", "chassis", parallel(1.5e3, 22e3 + parallel(0.3 * 2**0.5, 8.0))),
            ("earth", "chassis", 0.01),
        ],
    )
    def test_readings(self, rowan: Amplifier, red: str, black: str, expected: float) -> None:
        assert one(rowan, red, black) == near(expected)
        assert one(rowan, black, red) == near(expected)

    @pytest.mark.parametrize(("position", "up"), [(0.0, 0.0), (1.0, 25e3), (0.25, 6.25e3)])
    def test_pot_swept(self, rowan: Amplifier, position: float, up: float) -> None:
        swept = OUT.but(pots={"P1": position})
        # from the wiper: up to the bias node and down the other pot, or down its own foot
        expected = 1.0 + parallel(up + 58e3, 25e3 - up + 33e3)
        assert one(rowan, "V2 bias node", "chassis", swept) == near(expected)

    def test_a_pot_that_sets_an_idle_current_stands_where_it_was_turned(self, rowan: Amplifier) -> None:
        idle = OUT.but(pots={"P1": 0.0}, idle={"V2": 0.035})
        values = tight(rowan) | {"P1 position": np.array([0.25, 1.0])}
        got = cold_ohms(rowan, idle, [("V2 bias node", "chassis")], values)[0]
        for ohms, up in zip(got, (6.25e3, 25e3), strict=True):
            assert ohms == near(1.0 + parallel(up + 58e3, 25e3 - up + 33e3))

    def test_nothing_between(self, rowan: Amplifier) -> None:
        assert one(rowan, "line", "chassis") > 1e9
        assert one(rowan, "HT1", "loudspeaker hot", OUT) == near(220e3 + parallel(0.3 * 2**0.5, 8.0, 23.5e3))

    def test_heaters_cold(self, rowan: Amplifier) -> None:
        """0.15 of 6.3 V / 0.9 A each (heater facts: 0.15, about 1/6 to 1/8), behind windings of 0.06 ohm."""
        hot = 6.3 / 0.9
        seated = OUT.but(out=frozenset({"V1", "V4"}))
        assert one(rowan, "T1 heat 1", "T1 heat 2", seated) == near(parallel(0.06, 0.15 * hot, 0.15 * hot))

    def test_links(self, rowan: Amplifier) -> None:
        lifted = OUT.but(feedback="open")  # tied to chassis by the file: R22 stays beside the cathode resistor
        assert one(rowan, "V1a cathode", "chassis", lifted) == near(parallel(1.5e3, 22e3))
        hanging = replace(rowan.links["feedback"], tie=None)
        loose = replace(rowan, links={"feedback": hanging})
        assert one(loose, "V1a cathode", "chassis", lifted) == near(1.5e3)
        named = OUT.but(lifted=frozenset({"feedback"}))
        assert one(loose, "V1a cathode", "chassis", named) == near(1.5e3)
        at_the_pin = OUT.but(lifted=frozenset({"R22 2"}))  # a terminal instead of a link: that lead hangs free
        assert one(rowan, "V1a cathode", "chassis", at_the_pin) == near(1.5e3)
        with pytest.raises(ValueError, match="R22 3"):
            one(rowan, "V1a cathode", "chassis", OUT.but(lifted=frozenset({"R22 3"})))
        test = OUT.but(feedback="test", test_ohms=100e3)
        out = parallel(0.3 * 2**0.5, 8.0)
        assert one(rowan, "V1a cathode", "chassis", test) == near(parallel(1.5e3, 122e3 + out))

    def test_switch_load_and_plugs(self, rowan: Amplifier) -> None:
        assert one(rowan, "line", "neutral", OUT.but(switches_open=frozenset({"S1"}))) > 1e9
        bare = OUT.but(load="none", feedback="open")
        assert one(rowan, "loudspeaker hot", "chassis", bare) == near(0.3 * 2**0.5)
        speaker = OUT.but(load="loudspeaker", feedback="open")  # dc ohms of a loudspeaker: 0.8 of the rated
        assert one(rowan, "loudspeaker hot", "chassis", speaker) == near(parallel(0.3 * 2**0.5, 6.4))
        assert one(rowan, "V1a grid", "chassis") == near(1e6)  # unplugged: no shorting plug hides the grid leak
        assert one(rowan, "V1a grid", "chassis", OUT.but(mains_volts=230.0)) < 0.01  # input shorted
        driven = OUT.but(stimulus_volts=0.1)
        assert one(rowan, "V1a grid", "chassis", driven) == near(1e6)
        loaded = OUT.but(loads={"HT2": 10e3})
        assert one(rowan, "HT2", "chassis", loaded) == near(parallel(10e3, 220.09e3))


class TestFaults:
    @pytest.mark.parametrize(
        ("fault", "red", "black", "expected"),
        [
            (Fault("R1", "open"), "HT3", "HT1", None),
            (Fault("R1", "shorted"), "HT3", "HT1", 90.1),
            (Fault("R1", "drifts", 1.3), "HT3", "HT1", 90 + 1.3 * 15e3),
            (Fault("L1", "open"), "HT2", "HT1", None),
            (Fault("C1", "shorted"), "HT1", "chassis", 0.1),
            (Fault("C7", "leaks", 500e3), "V1b cathode", "V2 drive", 500e3),
            (Fault("P1", "wiper open"), "V2 bias node", "bias", None),
            (Fault("P1", "open"), "bias", "chassis", 58e3),
            (Fault("T2", "plate a open"), "T2 plate a", "HT1", None),
            (Fault("T1", "ht a shorted"), "T1 ht 1", "chassis", parallel(0.1, 55)),
            (Fault("F1", "open"), "line", "neutral", None),
        ],
    )
    def test_modes(self, rowan: Amplifier, fault: Fault, red: str, black: str, expected: float | None) -> None:
        """One path between the two joints, worked by hand; None: no path but long ways round and insulation."""
        lone = replace(rowan, parts={k: p for k, p in rowan.parts.items() if k not in {"R3", "R12", "R13"}})
        got = one(lone, red, black, OUT, fault)
        if expected is None:
            assert got > 1e9
        else:
            assert got == pytest.approx(expected, rel=5e-4 if fault.part == "C7" else 2e-4)

    def test_output_valve_shorts_seen_with_the_valve_in(self, rowan: Amplifier) -> None:
        seated = OUT.but(out=frozenset({"V1", "V3", "V4"}))
        shorted = Fault("V2", "grid to cathode")
        assert one(rowan, "V2 grid", "chassis", seated, shorted) == pytest.approx(11.0, rel=1e-3)
        assert one(rowan, "V2 grid", "chassis", OUT, shorted) > 200e3
        leak = Fault("V2", "heater to cathode", 50e3)
        assert one(rowan, "T1 heat 1", "V2 cathode", seated, leak) == pytest.approx(10.0 + 0.03, rel=1e-3)
        cathode_open = Fault("R20", "open")
        got = float(cold_ohms(rowan, seated, [("T1 heat 1", "V2 cathode")], tight(rowan), [leak, cathode_open])[0, 0])
        assert got == pytest.approx(50e3, rel=1e-3)

    @pytest.mark.parametrize("build", [push_pull_fixed, single_ended_cathode])
    def test_every_fault_of_the_table_is_known(self, build: Callable[[], Amplifier]) -> None:
        amplifier = build()
        seated = Situation(0.0)
        healthy = cold_ohms(amplifier, seated, [("HT1", "chassis"), ("T1 heat 1", "T1 heat 2")])
        for case in all_faults(amplifier):
            got = cold_ohms(amplifier, seated, [("HT1", "chassis")], None, [case.at(0.5)])
            assert np.isfinite(got).all(), case
        dead = cold_ohms(amplifier, seated, [("T1 heat 1", "T1 heat 2")], None, [Fault("V2", "dead")])
        assert dead[0, 0] > healthy[1, 0] * 1.001  # one heater the fewer beside the winding

    def test_unknown_faults_never_pass_unnoticed(self, rowan: Amplifier) -> None:
        with pytest.raises(ValueError, match="R99"):
            one(rowan, "HT1", "chassis", OUT, Fault("R99", "open"))
        with pytest.raises(ValueError, match="melts"):
            one(rowan, "HT1", "chassis", OUT, Fault("R1", "melts"))
        with pytest.raises(KeyError, match="HT9"):
            one(rowan, "HT9", "chassis")


def test_plate_leads_exchanged_show_only_where_the_halves_differ() -> None:
    rowan = push_pull_fixed()
    halves = {"T2 plate a ohms": 90.0, "T2 plate b ohms": 130.0}
    pair = [("T2 plate a", "HT1")]
    assert cold_ohms(rowan, OUT, pair, halves)[0, 0] == near(90.0)
    assert cold_ohms(rowan, OUT, pair, halves, [Fault("T2", "plates exchanged")])[0, 0] == pytest.approx(
        130.0, rel=1e-6
    )


class TestRectifiers:
    def build(self) -> Amplifier:
        """A silicon bridge on one winding, a bleeder, a second supply backwards."""
        b = Builder("bridge")
        b.mains_side()
        b.transformer("T1", (primary(230.0, 10.0), *tapped("ht", 20.0, 3.0)))
        for n, (anode, cathode) in enumerate(
            [("T1 ht 1", "HT"), ("T1 ht 2", "HT"), ("minus", "T1 ht 1"), ("minus", "T1 ht 2"), ("foot", "T1 ht ct")]
        ):
            b.diode(f"D{n + 1}", anode, cathode, series_ohms=0.5 + 0.1 * n)
        b.resistor("R1", "HT", "minus", 47e3)
        b.resistor("R2", "minus", "chassis", 100.0)
        b.resistor("R3", "foot", "chassis", 2.2e3)
        return b.build()

    def test_selenium_leaks_both_ways(self) -> None:
        """Four plates of 60 mA: 26 V rms x sqrt 2 over a hundredth of 60 mA each (devices' own plausibility choice)."""
        b = Builder("selenium")
        b.diode("D1", "bias", "winding", "selenium", amps=0.06, plates=4.0)
        ohms = cold_ohms(b.build(), Situation(0.0), [("bias", "winding"), ("winding", "bias")])[:, 0]
        assert ohms == pytest.approx(4 * 26 * 2**0.5 / 0.6e-3, rel=1e-4)

    @pytest.mark.parametrize(
        ("red", "black"), list(itertools.permutations(["HT", "minus", "T1 ht 1", "foot", "chassis"], 2))
    )
    def test_junctions_against_every_state_tried(self, red: str, black: str) -> None:
        """The one consistent state of the five junctions, found by trying all 32 with plain numpy."""
        amplifier = self.build()
        got = cold_ohms(amplifier, Situation(0.0), [(red, black)], tight(amplifier), diodes="conducting")[0, 0]
        assert got == near(self.enumerate(amplifier, red, black))
        assert got <= one(amplifier, red, black, Situation(0.0)) * (1 + 1e-12)

    @staticmethod
    def enumerate(amplifier: Amplifier, red: str, black: str) -> float:
        joints = ["HT", "minus", "T1 ht 1", "T1 ht 2", "T1 ht ct", "foot"]
        number = {j: k for k, j in enumerate(joints)}
        fixed = [("HT", "minus", 47e3), ("minus", "chassis", 100.0), ("foot", "chassis", 2.2e3)]
        fixed += [("T1 ht 1", "T1 ht ct", 3.0), ("T1 ht ct", "T1 ht 2", 3.0)]
        fixed += [(j, "chassis", 1e11) for j in joints]
        diodes = amplifier.of_kind("diode")
        found = []
        for state in itertools.product([False, True], repeat=len(diodes)):
            branches = list(fixed)
            for d, on in zip(diodes, state, strict=True):
                branches.append((d.leads["anode"], d.leads["cathode"], d.value("series_ohms") if on else 1e11))
            g = np.zeros((len(joints), len(joints)))
            rhs = np.zeros(len(joints))
            for a, b, r in branches:
                for x, y in ((a, b), (b, a)):
                    if x in number:
                        g[number[x], number[x]] += 1 / r
                        if y in number:
                            g[number[x], number[y]] -= 1 / r
            if red in number:
                rhs[number[red]] += 1
            if black in number:
                rhs[number[black]] -= 1
            v = dict(zip(joints, np.linalg.solve(g, rhs), strict=True)) | {"chassis": 0.0}
            drops = [v[d.leads["anode"]] - v[d.leads["cathode"]] for d in diodes]
            if all((drop > 0) == on for drop, on in zip(drops, state, strict=True)):
                found.append(v[red] - v[black])
        assert found
        assert max(found) == near(min(found))
        return float(found[0])

    def test_a_batch_whose_samples_close_different_junctions(self) -> None:
        """R2 from 100 ohm to 100 Mohm moves the meter's current from one way to another; each sample as if alone."""
        amplifier = self.build()
        values = {"R2 ohms": np.logspace(2, 8, 13), "R1 ohms": np.full(13, 1e9)}
        pairs = [("foot", "HT"), ("chassis", "T1 ht 1"), ("minus", "HT")]
        together = cold_ohms(amplifier, Situation(0.0), pairs, values, (), "conducting")
        for k in range(13):
            alone = cold_ohms(amplifier, Situation(0.0), pairs, {n: v[k] for n, v in values.items()}, (), "conducting")
            np.testing.assert_allclose(together[:, k], alone[:, 0], rtol=1e-9)

    def test_reversed(self) -> None:
        amplifier = self.build()
        pair = [("HT", "T1 ht 1")]
        away = cold_ohms(amplifier, Situation(0.0), pair, diodes="conducting")[0, 0]
        turned = cold_ohms(amplifier, Situation(0.0), pair, None, [Fault("D1", "reversed")], "conducting")[0, 0]
        assert away > 40e3
        assert turned == pytest.approx(0.5, rel=1e-3)


class TestSensitivities:
    PAIRS = (("V2 grid", "bias"), ("loudspeaker hot", "chassis"), ("HT4", "chassis"), ("V2 bias node", "chassis"))

    def test_against_central_differences(self, rowan: Amplifier) -> None:
        slopes = cold_sensitivities(rowan, OUT, self.PAIRS)
        assert {"R4 ohms", "R12 ohms", "P1 ohms", "T2 secondary 8 ohms", "loudspeaker ohms"} <= set(slopes)
        nominal = {}
        for part in rowan.parts.values():
            nominal |= {f"{part.name} {a}": q.value for a, q in part.values.items()}
            nominal |= {f"{part.name} {w.name} ohms": w.ohms.value for w in part.windings}
        for name, slope in slopes.items():
            step = 1e-4 * nominal[name]
            up, down = (cold_ohms(rowan, OUT, self.PAIRS, {name: nominal[name] + s})[:, 0] for s in (step, -step))
            scale = np.abs(cold_ohms(rowan, OUT, self.PAIRS)[:, 0]) / nominal[name]
            # a central difference of 1e-4 is good to 1e-8, less the rounding of 1e-15 over a step of 1e-4
            np.testing.assert_allclose(slope[:, 0] / scale, (up - down) / 2 / step / scale, atol=2e-8)

    def test_euler_sum(self, rowan: Amplifier) -> None:
        """All resistances doubled double the reading: the slopes times their resistances sum to it."""
        slopes = cold_sensitivities(rowan, OUT, [("HT4", "chassis")], tight(rowan))
        total = 0.0
        for name, slope in slopes.items():
            part, _, attribute = name.rpartition(" ")
            if attribute == "ohms" and part in rowan.parts:
                total += rowan.parts[part].value("ohms") * slope[0, 0]
        assert total == near(one(rowan, "HT4", "chassis"))


def test_a_batch_is_its_samples() -> None:
    amplifier = single_ended_cathode()
    rng = np.random.default_rng(3)
    batch = {
        f"{p.name} ohms": p.value("ohms") * rng.uniform(0.9, 1.1, 20)
        for p in amplifier.parts.values()
        if "ohms" in p.values
    } | {"P1 position": rng.uniform(0, 1, 20)}
    pairs = [("HT1", "chassis"), ("V1b source", "chassis"), ("V2 grid", "chassis"), ("V1a plate", "HT1")]
    situation = Situation(0.0, out=frozenset({"V1"}))
    together = cold_ohms(amplifier, situation, pairs, batch)
    assert together.shape == (4, 20)
    for k in range(20):
        alone = cold_ohms(amplifier, situation, pairs, {name: v[k] for name, v in batch.items()})
        np.testing.assert_allclose(together[:, k], alone[:, 0], rtol=1e-12)
