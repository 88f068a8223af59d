"""The ring of a cold start in one amplifier that is not the nominal: in proportion to what it settles at itself."""

from dataclasses import replace

import numpy as np
import pytest

from at_hand import ROOT, built
from firstglow.amplifier import load
from firstglow.readings.asked import Block, Cast
from firstglow.readings.observe import Observer
from firstglow.readings.spreads import MAINS


def test_an_amplifier_of_its_own_rings_as_far_as_its_own_volts() -> None:
    """Example (c), silicon and a choke: at mains 4 % up every HT and the ring with it is 4 % up (linear but for the diodes' drop). One
    column by itself stood at the nominal amplifier's highest whatever it was."""
    amplifier = load(ROOT / "examples" / "c-sorrel-twenty.toml")
    ladder = built(amplifier, mode="fast")
    peak = next(
        r.planned for r in ladder.expected.readings() if r.planned.probe.quantity == "peak volts" and "HT2" in r.id
    )
    observer = Observer(amplifier)
    row = observer.circuit.column[MAINS]
    tops = {}
    for up in (1.0, 1.04):
        values = np.array(observer.nominal)
        values[row] *= up
        cast = replace(Cast(values), levels={f"peak {peak.id}": np.ones(1)})
        tops[up] = float(observer.see([Block("", peak.situation, (peak,))], cast).values[peak.id][0])
    assert tops[1.04] / tops[1.0] == pytest.approx(1.04, rel=0.003)
