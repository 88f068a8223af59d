"""What a newcomer to the file got wrong, and what he must be told (docs/evidence/readers/first-power-up-newcomer.md)."""

from pathlib import Path

import pytest

from firstglow.amplifier import AmplifierError, bases, load
from firstglow.amplifier.options import SituationError, read_fault
from firstglow.amplifier.stand_ins import STAND_INS

ROOT = Path(__file__).parents[2]
C = (ROOT / "examples/c-sorrel-twenty.toml").read_text()
SMALL = """format = 1
amplifier = {{ name = "x", mains = "240V 50Hz" }}
[parts]
T1 = ["mains transformer", {{ primary = "{primary}", ht = "250-0-250V 60m", heat = "6.3V 2A ct" }}]
V3 = ["EZ80", {{ plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "HT1", heater = "T1 heat" }}]
C1 = ["22u 450V", "HT1", "chassis"]
R1 = ["100k 1W", "HT1", "chassis"]
"""


def problems(text: str) -> list[str]:
    with pytest.raises(AmplifierError) as caught:
        load(text)
    return [p.text for p in caught.value.problems]


def test_ohms_of_a_tapped_primary_go_as_its_turns() -> None:
    """Copper of one gauge: ohms are proportional to length, so to turns (closed form): 220 to 20, not their squares."""
    part = load(SMALL.format(primary="0-220-240V")).parts["T1"]
    ohms = {w.name: w.ohms.value for w in part.windings if w.role == "primary"}
    whole = load(SMALL.format(primary="240V")).parts["T1"].windings[0].ohms.value
    first, last = ohms.values()
    assert first / last == pytest.approx(220 / 20, rel=1e-12)
    assert first + last == pytest.approx(whole, rel=1e-12)


def test_an_unclosed_bracket_is_told_at_its_own_line() -> None:
    lines = C.splitlines()
    number = next(n for n, line in enumerate(lines) if line.startswith("R19 = ["))
    lines[number] = lines[number].rstrip().removesuffix("]")
    (text,) = problems("\n".join(lines) + "\n")
    assert text.startswith(f"text:{number + 1}: file: ") and "not closed" in text


@pytest.mark.parametrize("word", ["RCA socket", "phono socket", "jack", "input socket"])
def test_an_input_may_be_called_what_it_is(word: str) -> None:
    assert load(C.replace('["input"', f'["{word}"')).digest == load(C).digest


def test_an_input_takes_its_own_article() -> None:
    (text,) = problems(C.replace('["input"', '["input 47k"'))
    assert "about an input" in text


@pytest.mark.parametrize("word", sorted(STAND_INS))
def test_an_unknown_valve_is_told_who_may_stand_in_and_at_what_cost(word: str) -> None:
    """807 is a number and PX4 looks like a rectifier's name: neither is sent to a resistor nor to a 6X4."""
    known, cost = STAND_INS[word]
    assert bases.find(word) is None, "it has a law now: take it out of the list"
    assert bases.find(known) is not None
    text = problems(SMALL.format(primary="240V").replace('["EZ80"', f'["{word}"'))[0]
    assert f"{known} may stand in ({cost})" in text and text.endswith(f'try "{known}"')


def test_a_valve_nobody_knows_is_no_resistor() -> None:
    text = problems(SMALL.format(primary="240V").replace('["EZ80"', '["QQZ"'))[0]
    assert "no valve type with a known law" in text and "220k" not in text


def test_a_cathode_resistor_with_a_name_of_its_own_is_found_by_its_place() -> None:
    text = SMALL.format(primary="240V")
    amplifier = load(
        text + 'V1 = ["6V6GT", { plate = "1k HT1", screen = "HT1", cathode = "KK", grid = "100k chassis", '
        'heater = "T1 heat" }]\nR10 = ["330R 2W", "KK", "chassis"]\n'
    )
    with pytest.raises(SituationError) as caught:
        read_fault(amplifier, "V1 cathode R:open")
    assert '--fault "R10:open"' in str(caught.value)


OWN = (
    SMALL.format(primary="240V")
    .replace('2A ct"', '2A ct", rect = "6.3V 1A"')
    .replace('heater = "T1 heat" }]\nC1', 'heater = "T1 rect" }]\nC1')
)


def test_a_rectifiers_own_winding_is_never_sent_to_chassis() -> None:
    """It was tied to B+ on the bench; a wire to chassis puts the HT across the heater's insulation."""
    (text,) = problems(OWN)
    assert "no dc path from T1 rect 1, T1 rect 2" in text and '"chassis"' not in text
    remedy = text.rsplit("; try ", 1)[1]
    assert remedy == 'floating = ["T1 rect"]'
    assert load(OWN.replace('240V 50Hz" }', f'240V 50Hz", {remedy} }}')).joints["T1 rect 1"].floating
    assert load(OWN + 'W1 = ["wire", "T1 rect 2", "HT1"]\n').parts["W1"].leads["2"] == "HT1"


@pytest.mark.parametrize(
    ("old", "new", "found", "remedy"),
    [
        ('"100k 1W"', '"100,5k 1W"', "has a comma", '"100.5k 1W"'),
        ('"HT1", "chassis"]\nR1', '"HT1", "1,5k chassis"]\nR1', "has a comma", '"1.5k chassis"'),
    ],
)
def test_a_decimal_comma_is_called_one_wherever_it_stands(old: str, new: str, found: str, remedy: str) -> None:
    text = SMALL.format(primary="240V")
    assert old in text
    assert any(found in p and p.endswith(f"try {remedy}") for p in problems(text.replace(old, new)))


DOUBLE = (
    SMALL.format(primary="240V")
    + 'V1a = ["ECC83", { plate = "100k HT1", cathode = "1k chassis", grid = "1M chassis", heater = "T1 heat" }]\n'
    + 'V1b = ["ECC83", { plate = "100k HT1", cathode = "47k chassis", grid = "V1a plate" }]\n'
)


def test_capital_letters_of_a_section_are_what_is_told() -> None:
    load(DOUBLE)
    told = problems(DOUBLE.replace("V1a = [", "V1A = ["))
    assert any("capital letter" in p and p.endswith("try V1a") for p in told)
    assert not any("V1Aa" in p or '"V1b plate"' in p for p in told)
    (other,) = problems(DOUBLE.replace('"V1a plate"', '"V1A plate"'))
    assert "capital and small letters count" in other and other.endswith('try "V1a plate"')
