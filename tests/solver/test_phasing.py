"""Cold phasing: turns counted by hand."""

import numpy as np
import pytest

from builders import Builder, push_pull_fixed, single_ended_cathode
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault
from firstglow.solver.phasing import phasing
from winding_builders import push_pull_windings

A, B, HOT, CENTRE = "T2 plate a", "T2 plate b", "loudspeaker hot", "HT1"
# builders.push_pull_windings: each half 0.5 sqrt(6600/4) turns for one of the 4 ohm section; 8 ohm is sqrt 2 of them
RATIO = 0.5 * (6600 / 4) ** 0.5 / 2**0.5


@pytest.fixture(scope="module")
def rowan() -> Amplifier:
    return push_pull_fixed()


def test_halves_and_the_count_of_inversions(rowan: Amplifier) -> None:
    seen = phasing(rowan, "T2")
    assert seen.volts == 0.5
    assert (seen.driven, seen.tied) == (HOT, CENTRE)
    assert seen.between(A, CENTRE)[0] == pytest.approx(0.5 * RATIO, rel=1e-7)  # dots: plate a rises with the secondary
    assert seen.between(B, CENTRE)[0] == pytest.approx(-0.5 * RATIO, rel=1e-7)
    assert abs(seen.between(A, HOT)[0]) == pytest.approx(0.5 * RATIO - 0.5, rel=1e-7)  # half less the secondary
    assert abs(seen.between(B, HOT)[0]) == pytest.approx(0.5 * RATIO + 0.5, rel=1e-7)  # half plus the secondary
    assert seen.between("T2 4", CENTRE)[0] == pytest.approx(0.5 / 2**0.5, rel=1e-7)


@pytest.mark.parametrize("mode", ["plates exchanged", "reversed"])
def test_exchanged_leads_change_the_difference(rowan: Amplifier, mode: str) -> None:
    seen = phasing(rowan, "T2", faults=[Fault("T2", mode)])
    assert abs(seen.between(A, CENTRE)[0]) == pytest.approx(0.5 * RATIO, rel=1e-7)
    assert abs(seen.between(A, HOT)[0]) == pytest.approx(0.5 * RATIO + 0.5, rel=1e-7)
    assert abs(seen.between(B, HOT)[0]) == pytest.approx(0.5 * RATIO - 0.5, rel=1e-7)


def test_broken_and_shorted_halves(rowan: Amplifier) -> None:
    broken = phasing(rowan, "T2", faults=[Fault("T2", "plate a open")])
    assert abs(broken.between(A, CENTRE)[0]) < 1e-3
    assert abs(broken.between(B, CENTRE)[0]) == pytest.approx(0.5 * RATIO, rel=1e-4)
    shorted = phasing(rowan, "T2", faults=[Fault("T2", "plate a shorted")])
    assert abs(shorted.between(A, CENTRE)[0]) < 0.02
    # 95 ohm across the half is 95/206 = 0.46 ohm across the secondary, whose own 0.42 ohm now drops about half
    secondary = 0.3 * 2**0.5
    reflected = (95 + 0.1 * 95 / 95) / RATIO**2
    share = reflected / (reflected + secondary)
    assert abs(shorted.between(B, CENTRE)[0]) == pytest.approx(0.5 * RATIO * share, rel=5e-3)


def test_ultralinear_taps_and_a_high_ratio() -> None:
    b = Builder("high ratio")
    windings = push_pull_windings(40e3, (4.0,), screen_tap=0.4)
    joints = {"centre": "HT", "common": "chassis", "plate a": "a", "plate b": "b", "screen a": "sa", "screen b": "sb"}
    b.output_transformer("T1", windings, joints)
    seen = phasing(b.build(), "T1")
    half = 0.5 * (40e3 / 4) ** 0.5
    assert seen.volts == pytest.approx(10.0 / half, rel=1e-7)  # 50 times: 0.5 V would be 25 V on a plate
    assert abs(seen.joints["a"][0]) == pytest.approx(10.0, rel=1e-4)
    assert seen.joints["sa"][0] / seen.joints["a"][0] == pytest.approx(0.4, rel=1e-4)
    assert np.sign(seen.joints["sb"][0]) == np.sign(seen.joints["b"][0]) == -np.sign(seen.joints["a"][0])


def test_single_ended_and_a_batch() -> None:
    amplifier = single_ended_cathode()
    turns = np.array([36.0, 34.0, 38.0])
    seen = phasing(amplifier, "T2", 0.2, {"T2 plate a turns": turns})
    np.testing.assert_allclose(np.abs(seen.between("T2 plate a", "HT1")), 0.2 * turns / 2**0.5, rtol=1e-4)


def test_no_secondary_is_refused() -> None:
    b = Builder("half a transformer")
    b.output_transformer("T1", push_pull_windings(8e3)[:2], {"plate a": "a"})
    with pytest.raises(ValueError, match="T1 has no secondary"):
        phasing(b.build(), "T1")
