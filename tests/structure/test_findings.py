"""What the structure shows and is no mistake of the file: planted one by one, and nothing where nothing is odd."""

from pathlib import Path

import pytest

from firstglow.amplifier import load
from firstglow.amplifier.findings import findings
from structure.topologies import topology

ROOT = Path(__file__).parents[2]
B = (ROOT / "examples/b-hazel-four.toml").read_text()
C = (ROOT / "examples/c-sorrel-twenty.toml").read_text()
PLATES = ('plate = "T2 plate a"', 'plate = "T2 plate b"')


@pytest.mark.parametrize("name", ["a-linden-twin", "b-hazel-four", "c-sorrel-twenty"])
def test_nothing_is_said_of_the_examples(name: str) -> None:
    assert findings(load(ROOT / f"examples/{name}.toml")) == ()


@pytest.mark.parametrize("seed", range(40))
def test_only_a_loop_without_a_link_is_said_of_sound_amplifiers(seed: int) -> None:
    plan, amplifier = topology(seed)
    found = findings(amplifier)
    assert len(found) == (plan.channels if plan.loop == "fixed" else 0)


def test_both_output_plates_on_one_end_are_told_with_the_part_and_the_line() -> None:
    one, other = PLATES
    assert one in C and other in C
    amplifier = load(
        C.replace(other, one).replace('"T2 screen b"', '"T2 screen a"').replace("T2 screen b", "T2 screen a")
    )
    told = [f for f in findings(amplifier) if "same end" in f]
    (text,) = told
    line = amplifier.parts["T2"].origin.line
    assert text.startswith(f"T2 (line {line}): ") and 'plate = "T2 plate b"' in text


def test_both_rectifier_plates_on_one_end_of_the_ht_winding_are_told_with_where_the_second_belongs() -> None:
    amplifier = load(B.replace('plate2 = "T1 ht 2"', 'plate2 = "T1 ht 1"'))
    (text,) = findings(amplifier)
    line = amplifier.parts["V3"].origin.line
    assert text.startswith(f"V3 (line {line}): ") and 'plate2 = "T1 ht 2"' in text
    (other,) = findings(load(B.replace('plate1 = "T1 ht 1"', 'plate1 = "T1 ht 2"')))
    assert "T1 ht 1 is on nothing" in other


def test_two_diodes_on_one_end_of_the_ht_winding_are_told_and_each_on_its_own_is_not() -> None:
    valve = next(row for row in B.split("\n") if row.startswith("V3 = "))
    diode = 'D{} = ["silicon 1A 1000V", "T1 ht {}", "HT1"]'
    both = B.replace(valve, diode.format(1, 1) + "\n" + diode.format(2, 1))
    (text,) = findings(load(both))
    assert "D1 anode and D2 anode" in text and 'anode = "T1 ht 2"' in text
    assert findings(load(B.replace(valve, diode.format(1, 1) + "\n" + diode.format(2, 2)))) == ()


def test_a_loop_without_a_link_is_told_with_what_to_add() -> None:
    bare = C.replace(', { link = "feedback" }]', "]")
    (text,) = findings(load(bare))
    assert text.startswith("R19 (line ") and "cannot be lifted as drawn" in text and '{ link = "nfb" }' in text
    assert findings(load(bare.replace('"V1a cathode"]', '"V1a cathode", { link = "nfb" }]'))) == ()


def test_a_link_beside_another_way_is_told() -> None:
    beside = C.replace("R19 = [", 'R91 = ["15k", "T2 8", "V1a cathode"]\nR19 = [', 1)
    (text,) = findings(load(beside))
    assert "its link feedback leaves another way through R91" in text


PLAIN = [  # IEC 60384-14: class X across the line, class Y from it to anything that can be touched
    ('C99 = ["0.01u 400V film", "line", "neutral"]', "class X", 'C99 = ["10n 275V X2", "line", "neutral"]'),
    (
        'C99 = ["0.01u 1000V paper", "T1 primary 1", "neutral"]',
        "class X",
        'C99 = ["10n 275V X2", "T1 primary 1", "neutral"]',
    ),
    ('C99 = ["2.2n 1000V", "line", "chassis"]', "class Y", 'C99 = ["2.2n 250V Y2", "line", "chassis"]'),
]


@pytest.mark.parametrize(("line", "kind", "remedy"), PLAIN)
def test_a_plain_capacitor_on_the_mains_is_told_of_with_its_class(line: str, kind: str, remedy: str) -> None:
    text = (ROOT / "examples/b-hazel-four.toml").read_text(encoding="utf-8")
    (found,) = findings(load(f"{text}{line}\n"))
    assert found.startswith("C99 (line ")
    assert kind in found
    assert remedy in found
    assert findings(load(f"{text}{remedy}\n")) == ()
