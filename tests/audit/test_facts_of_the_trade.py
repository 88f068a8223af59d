"""Facts of the trade as check values, all common practice; every figure of the networks here is our own and of no amplifier."""

from pathlib import Path

import numpy as np
import pytest

import at_hand
from at_hand import audited
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import roles
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
A, B = EXAMPLES / "a-linden-twin.toml", EXAMPLES / "b-hazel-four.toml"


def edited(file: Path, at: Path, *swaps: tuple[str, str]) -> Amplifier:
    return at_hand.edited(file.read_text(encoding="utf-8"), at, *swaps)


def test_ten_kilohm_pots_behind_silicon_swing_from_thirty_to_forty_seven_volts(tmp_path: Path) -> None:
    """Common practice: with silicon a two-channel amplifier's bias supply with 10 kohm pots swings about -30 to -47 V, about
    -38 V near mid travel, output valves out; loaded, the output valves pull it. Ours: four pots over 18k, so 30 / 47 is
    18 / 28 by hand, behind 2.7k from some -64 V (46 V rms, half wave, lightly loaded): 7 of 9.7 parts of it."""
    swaps = [(f'{p} = ["preset 25k 0.5W"', f'{p} = ["preset 10k 0.5W"') for p in ("P1", "P2")]
    swaps += [(f'{r} = ["15k 0.5W 2%", "foot', f'{r} = ["18k 0.5W 2%", "foot') for r in ("R20", "R21")]
    amplifier = edited(A, tmp_path, *swaps)
    circuit, outputs = compile_circuit(amplifier), roles(amplifier).outputs
    gone = frozenset(o.envelope for o in outputs)
    pots = [p.name for p in amplifier.of_kind("pot") if "P3" not in p.name]  # at 0 each is most negative
    ways = [
        Situation(230.0, out=out, pots=dict.fromkeys(pots, at)) for out in (gone, frozenset()) for at in (0.0, 0.5, 1.0)
    ]
    standing = circuit.solve(np.stack([circuit.vector(w) for w in ways], axis=1))  # raises where one would not settle
    for o in outputs:
        out, into = np.split(standing.dc(o.grid), 2)
        assert out == pytest.approx([-47.0, -38.0, -30.0], abs=2.0), o.valve
        assert (into > out).all(), o.valve


def test_an_old_400_volt_coupling_capacitor_becomes_one_of_630(tmp_path: Path) -> None:
    """Common practice: 600 or 630 V in its place. It meets all of HT while the valves are cold."""
    paper = edited(B, tmp_path, ('C5 = ["0.1u 630V film"', 'C5 = ["0.1u 400V paper"'))
    found = audited(paper).of("C5")
    assert found.verdict in ("tight", "unfit") and found.ages
    assert found.proposal is not None
    assert [i.text for i in found.proposal.items] == ["0.1 µF 630 V film"]
