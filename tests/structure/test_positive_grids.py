"""A bias rectifier drawn the wrong way round is named for what it does: it makes the output valves' grids positive.

Current leaves a diode at its cathode, so a reservoir there is charged positive to the winding's other end (any
textbook); an output valve with its cathode on chassis needs its grid negative, whatever the capacitors say."""

import re
from pathlib import Path

import numpy as np
import pytest

from drawn import HEAD
from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.findings import findings
from firstglow.amplifier.model import Problem
from firstglow.amplifier.situation import Situation
from firstglow.solver.circuit import compile_circuit

DATA = Path(__file__).parents[1] / "data"
EXAMPLES = Path(__file__).parents[2] / "examples"

# the pair on one pot, its bias from a winding: the wiper's own capacitor makes the wiper a node of the supply
PUMP = re.compile(r"^(C9|D1|D2) = .*\n", re.MULTILINE)
PAIR = (
    PUMP.sub("", (DATA / "pair-on-one-pot.toml").read_text(encoding="utf-8"))
    .replace('heat = "6.3V 4A ct 0R05"', 'heat = "6.3V 4A ct 0R05", bias = "60V 50m 20R", "bias 2" = "chassis"')
    .replace("C10 =", 'D1 = ["1N4007", "braw", "T1 bias 1"]\nC10 =')
)
WINDING = 'bias = "30V 20m", "bias 2" = "chassis",'
# one valve alone on its bias: no second grid agrees with it
SINGLE = (
    HEAD
    + """T1 = ["mains transformer", { primary = "230V 8R", ht = "250V 100m", "ht 2" = "chassis", BIAS heat = "6.3V 2A ct" }]
D2 = ["1N4007", "T1 ht 1", "HT1"]
C1 = ["47u 450V", "HT1", "chassis"]
R9 = ["220k 2W", "HT1", "chassis"]
D1 = ["1N4007", "bias raw", "T1 bias 1"]
C2 = ["47u 63V", "chassis", "bias raw"]
R1 = ["4k7", "bias raw", "bias"]
R2 = ["22k", "bias", "chassis"]
C3 = ["47u 63V", "chassis", "bias"]
R3 = ["220k", "bias", "g"]
C4 = ["0.1u 400V", "in", "g"]
J1 = ["input", "in", "chassis"]
R6 = ["1M", "in", "chassis"]
V2 = ["EL84", { grid = "g", plate = "T2 plate a", screen = "HT1", cathode = "10R chassis", heater = "T1 heat" }]
T2 = ["output transformer 5k single-ended 6W", { taps = "8R", centre = "HT1", common = "chassis" }]
LS = ["load 8R", "T2 8", "chassis"]
"""
).replace("BIAS", WINDING)
OFF_HT = SINGLE.replace(WINDING, "").replace(
    'D1 = ["1N4007", "bias raw", "T1 bias 1"]',
    'R99 = ["56k 2W", "T1 ht 1", "tapped"]\nD1 = ["1N4007", "bias raw", "tapped"]',
)


def exchanged(text: str, *names: str) -> str:
    """The text with the first two joints of each named line exchanged."""
    for name in names:
        text, n = re.subn(
            rf'^({name} = \["[^"]*", )("[^"]*"), ("[^"]*")', r"\1\3, \2", text, count=1, flags=re.MULTILINE
        )
        assert n == 1, name
    return text


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(AmplifierError) as caught:
        load(text, name="x.toml")
    return caught.value.problems


def pasted(text: str, found: tuple[Problem, ...]) -> str:
    """The text with every remedy pasted over its line."""
    lines = text.split("\n")
    for p in found:
        lines[p.line - 1] = p.remedy
    return "\n".join(lines)


@pytest.mark.parametrize("text", [PAIR, SINGLE, OFF_HT])
def test_the_good_drawings_load(text: str) -> None:
    load(text)


@pytest.mark.parametrize(
    ("turned", "blamed"),
    [
        ((), {"D1"}),  # the capacitors are right
        (("C10",), {"D1", "C10"}),  # one of them was drawn to suit it
        (("C11",), {"D1", "C11"}),
        (("C10", "C11"), {"D1", "C10", "C11"}),
    ],
)
def test_the_diode_is_named_with_the_capacitors_that_were_drawn_to_suit_it_and_no_other(
    turned: tuple[str, ...], blamed: set[str]
) -> None:
    bad = exchanged(PAIR, "D1", *turned)
    found = problems(bad)
    assert {p.part for p in found} == blamed
    diode = next(p for p in found if p.part == "D1")
    assert "output grids (V2 grid, V3 grid) positive" in diode.found
    assert diode.remedy == 'D1 = ["1N4007", "braw", "T1 bias 1"]'
    load(pasted(bad, found))


@pytest.mark.parametrize("text", [SINGLE, OFF_HT])
@pytest.mark.parametrize("turned", [(), ("C2",), ("C2", "C3")])
def test_one_output_valve_is_enough_to_tell(text: str, turned: tuple[str, ...]) -> None:
    bad = exchanged(text, "D1", *turned)
    found = problems(bad)
    assert {p.part for p in found} == {"D1", *turned}
    assert "output grid (V2 grid) positive" in next(p for p in found if p.part == "D1").found
    load(pasted(bad, found))


def test_a_grid_leak_on_ht_is_told_where_it_stands_and_no_rectifier_is_blamed() -> None:
    """220 kohm from HT to a grid whose cathode is on chassis: the grid is positive, and the HT rectifier is right."""
    found = problems(PAIR.replace('"V2 grid", "bw"', '"V2 grid", "HT2"'))
    assert {p.part for p in found} == {"V2"}
    assert "positive" in found[0].found and "HT2" in found[0].found
    assert "270R" not in found[0].remedy


def test_a_valve_that_sits_on_its_own_cathode_resistor_may_have_its_grid_raised() -> None:
    """A large cathode resistor with the grid lifted by a divider from HT: the cathode stands higher still."""
    raised = (EXAMPLES / "b-hazel-four.toml").read_text(encoding="utf-8").partition("\n[[layer]]")[
        0
    ] + '\nR98 = ["2M2", "HT2", "V2 grid"]\n'
    load(raised)


@pytest.mark.parametrize("kind", ["found", "changed"])
def test_a_diode_turned_in_a_layer_is_solved_and_told_of_as_a_finding(kind: str) -> None:
    """A layer says what was found, however bad: no mistake of the drawing. Both ends of the diode are rejoined."""
    layer = f'\n[[layer]]\nkind = "{kind}"\nwhy = "somebody turned it"\nrejoin = {{ "D1 anode" = "T1 bias 1", "D1 cathode" = "braw" }}\n'
    amplifier = load(PAIR + layer)
    (told,) = [text for text in findings(amplifier) if "output grids (V2 grid, V3 grid) positive" in text]
    assert told.startswith("D1 (line ")
    circuit = compile_circuit(amplifier)
    standing = circuit.solve(circuit.vector(Situation(100.0)))
    # 60 V rms make some 85 V; 47 kohm and the pot's upper half against its lower half, 47 kohm and two grids of 220 kohm to 0 V
    # leave about a third of them
    assert 15.0 < float(np.ravel(standing.dc("bw"))[0]) < 45.0
    assert not [text for text in findings(load(PAIR)) if "positive" in text]
