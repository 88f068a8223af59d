"""What is checked first names the parts that the structure hangs on a reading."""

from test_found_by_others import PAIR

from at_hand import built
from drawn import HEAD
from firstglow.amplifier import load


def checks(text: str, name: str, share: float) -> str:
    """What is checked first of a reading at this share of what is expected."""
    reading = built(load(HEAD + text), mode="fast").expected.by_id[name]
    assert isinstance(reading.expected, float)
    return "; ".join(reading.checks(share * reading.expected))


def test_a_low_grid_leak_names_its_coupling_capacitor() -> None:
    """It hangs on the grid itself, and its leak lies across the leak resistor; the other valve's does not."""
    said = checks(PAIR, "1/V3 grid leak/shared", 0.7)
    assert "C5" in said and "C6" not in said
    assert "C5" not in checks(PAIR, "1/V3 grid leak/shared", 1.5)


def test_a_low_bias_joint_names_the_bias_electrolytic_and_rectifier() -> None:
    """Behind the preset, one of them shorted is what the wiper reads; HT's own are behind another winding."""
    rows = [r.id for r in built(load(HEAD + PAIR), mode="fast").expected.readings() if r.id.startswith("1/V3 bias")]
    said = checks(PAIR, rows[0], 0.3)
    assert "C2" in said and "D2" in said
    assert "C1" not in said and "D1" not in said


def test_a_resistor_in_the_primary_lead_is_named_with_the_primary_s_ohms() -> None:
    text = PAIR.replace('primary = "230V"', 'primary = "230V 20R", "primary 2" = "neutral"').replace(
        "D1 = [", 'R99 = ["33R 10W", "line", "T1 primary 1"]\nD1 = [', 1
    )
    name = next(
        r.id
        for r in built(load(HEAD + text), mode="fast").expected.readings()
        if "primary" in r.id and r.id.startswith(("0/", "1/"))
    )
    assert "R99" in checks(text, name, 0.4) and "R99" in checks(text, name, 3.0)


def test_a_low_plate_names_the_rectifier_of_which_half_may_be_dead() -> None:
    """Of two legs one may fail alone; of a half wave none can."""
    two = PAIR.replace('ht = "250V 90m", "ht 2" = "chassis"', 'ht = "250-0-250V 90m", "ht ct" = "chassis"')
    two = two.replace("D2 = [", 'D9 = ["silicon 1A 1000V", "T1 ht 2", "HT1"]\nD2 = [', 1)
    assert "half of the rectifier not giving (D1, D9)" in checks(two, "6/V3 plate/shared", 0.9)
    assert "rectifier" not in checks(PAIR, "6/V3 plate/shared", 0.9)
