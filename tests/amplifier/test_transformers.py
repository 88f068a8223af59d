"""Windings: marked, loaded volts to open-circuit volts, against closed forms worked by hand."""

from math import sqrt
from pathlib import Path

import pytest

from drawn import stage
from firstglow.amplifier import AmplifierError, load
from firstglow.amplifier.model import Part
from firstglow.amplifier.transformers import REGULATION, regulation
from firstglow.amplifier.windings import read_winding
from firstglow.quantities import QuantityError

ROOT = Path(__file__).parents[2]
HEAD = 'format = 1\namplifier = { name = "x", mains = "230V 50Hz" }\n[parts]\n'
ROUND = 'plate = "1k HT", screen = "HT", cathode = "300R chassis", grid = "100k chassis", heater = "T1 heat"'
STAGE = f'V1 = ["6V6GT", {{ {ROUND} }}]\n'


def transformer(more: str, rest: str = "") -> Part:
    heat = "" if "heat" in more else ', heat = "6.3V 2A ct 0R01"'
    tie = "" if " ct" in more + heat else 'W9 = ["wire", "T1 heat 2", "chassis"]\n'
    text = (
        HEAD
        + f'T1 = ["mains transformer", {{ {more}{heat} }}]\n'
        + 'R9 = ["100k", "HT", "chassis"]\n'
        + tie
        + STAGE
        + rest
    )
    return load(text).parts["T1"]


def test_no_load_volts_by_hand() -> None:
    """6.3 V at 4 A, 0.06 ohm; primary 230 V, 20 ohm; nothing else on it.

    Primary amps 6.3*4/230 = 0.10957; drop 2.1913 V of 230: the core stands at 0.99047.
    Open: (6.3 + 4*0.06) / 0.99047 = 6.6029 V. (Rs = R2 + n2*R1, V0 = V + I*Rs: closed form, transformer textbooks.)
    """
    part = transformer('primary = "230V 20R", heat = "6.3V 4A 0R06"')
    heat = next(w for w in part.windings if w.name == "heat")
    assert heat.turns.value == pytest.approx((6.3 + 0.24) / (1 - 6.3 * 4 / 230 * 20 / 230), rel=1e-12)
    # the same by the source resistance: Rs = 0.06 + (V0/230)^2 * 20
    source = 0.06 + (heat.turns.value / 230) ** 2 * 20
    assert heat.turns.value - 4 * source == pytest.approx(6.3, rel=2e-3)


def test_typical_regulation_gives_what_the_catalogue_row_says() -> None:
    """Source resistance, closed form: 6.3 V, 4 A, 10 % regulation make 0.1575 ohm and 6.93 V with no load.

    A 100 VA core has 10 %: here the winding carries a quarter of it, and the rest of the load is on another winding.
    """
    part = transformer('primary = "230V", heat = "6.3V 4A", aux = "24V 3A", build = "EI", volt_amps = "100VA"')
    heat, prim = (next(w for w in part.windings if w.name == n) for n in ("heat", "primary"))
    source = heat.ohms.value + (heat.turns.value / 230) ** 2 * prim.ohms.value * (100 / 230) / (
        4 * heat.turns.value / 230
    )
    assert heat.turns.value == pytest.approx(
        6.93, rel=0.01
    )  # half of the drop is taken before, half after: second order
    assert source == pytest.approx(0.1575, rel=0.06)


@pytest.mark.parametrize(
    ("volt_amps", "build", "value"),
    [(50, "EI", 0.15), (100, "EI", 0.10), (200, "EI", 0.08), (30, "toroid", 0.18), (5, "EI", 0.15), (900, "EI", 0.08)],
)
def test_regulation_table(volt_amps: float, build: str, value: float) -> None:
    assert regulation(volt_amps, build) == pytest.approx(value)


def test_regulation_falls_with_size() -> None:
    for build in REGULATION:
        values = [regulation(v, build) for v in (10, 20, 40, 70, 90, 150, 210, 400)]
        assert values == sorted(values, reverse=True)


def test_open_volts_are_taken_as_they_are() -> None:
    part = transformer('primary = "230V 20R", heat = "6.9V open 4A 0R06"')
    assert next(w for w in part.windings if w.name == "heat").turns.value == pytest.approx(6.9)


@pytest.mark.parametrize(
    ("text", "leads", "volts", "ohms"),
    [
        ("6.3V 4A", ("1", "2"), [6.3], [None]),
        ("6.3V 4A ct 0R06", ("1", "ct", "2"), [3.15, 3.15], [0.03, 0.03]),
        ("300-0-300V 150m 90+94R", ("1", "ct", "2"), [300, 300], [90, 94]),
        ("300-0-290V", ("1", "ct", "2"), [300, 290], [None, None]),
        ("0-117-230V 20R", ("0", "117", "230"), [117, 113], [20 * 117 / 230, 20 * 113 / 230]),
        ("0-50V", ("0", "50"), [50], [None]),
        ("300-50-0-50-300V", ("1", "50a", "ct", "50b", "2"), [250, 50, 50, 250], [None] * 4),
        ("42V 20m 60R", ("1", "2"), [42], [60]),
        ("6V3 4A", None, None, None),
    ],
)
def test_winding_texts(text: str, leads: tuple | None, volts: list | None, ohms: list | None) -> None:
    if leads is None:
        with pytest.raises(QuantityError):
            read_winding("w", text)
        return
    winding = read_winding("w", text)
    assert winding.leads == leads
    assert [s.volts for s in winding.sides] == pytest.approx(volts)
    assert [s.ohms for s in winding.sides] == ([None] * len(ohms) if None in ohms else pytest.approx(ohms))
    for one, two in zip(winding.sides, winding.sides[1:], strict=False):
        assert one.end == two.start  # wound on: the phase runs through


@pytest.mark.parametrize(
    "text",
    [
        "",
        "4A",
        "300-200-100V",
        "0-0-0V",
        "6.3V 4A 4A",
        "6.3V -4A",
        "6.3V 0R",
        "6.3V 1+2+3R",
        "-6.3V",
        "1e9V",
        "9000V",
        "0-5-3V",
    ],
)
def test_windings_that_are_none(text: str) -> None:
    with pytest.raises(QuantityError):
        read_winding("w", text)


def test_heaters_add_up_to_the_rating_that_is_not_said() -> None:
    """6V6GT 0.45 A and EL84 0.76 A at 6.3 V (RCA; Philips): the winding is taken as rated for 1.21 A."""
    more = f'V2 = ["EL84", {{ {ROUND} }}]\n'
    part = transformer('primary = "230V 20R", heat = "6.3V ct 0R1"', more)
    turns = sum(w.turns.value for w in part.windings if w.name.startswith("heat"))
    assert turns == pytest.approx((6.3 + 1.21 * 0.1) / (1 - 6.3 * 1.21 / 230 * 20 / 230), rel=1e-9)


def output(more: str, kind: str = "output transformer 8k") -> Part:
    text = HEAD + 'T1 = ["mains transformer", { primary = "230V", heat = "6.3V 2A" }]\nR9 = ["100k", "HT", "chassis"]\n'
    text += f'T2 = ["{kind}", {{ centre = "HT", {more} }}]\nR1 = ["1k", "T2 plate a", "chassis"]\n'
    text += "" if "single" in kind else 'R2 = ["1k", "T2 plate b", "chassis"]\n'
    return load(text).parts["T2"]


@pytest.mark.parametrize("load_ohms", ["4R", "8R", "16R"])
def test_impedance_ratio_is_the_square_of_turns(load_ohms: str) -> None:
    """Zp/Zs = (Np/Ns)^2 (textbook): 8000 ohm plate to plate for a load on its own tap."""
    part = output(f'taps = "4+8+16R", load_ohms = "{load_ohms}"')
    turns = {w.name: w.turns.value for w in part.windings}
    primary = turns["plate a"] + turns["plate b"]
    ohms = float(load_ohms[:-1])
    below = sum(v for k, v in turns.items() if k.startswith("secondary") and float(k.split()[1]) <= ohms)
    assert (primary / below) ** 2 * ohms == pytest.approx(8000)
    assert turns["secondary 4"] == 1.0
    assert turns["secondary 4"] + turns["secondary 8"] == pytest.approx(sqrt(2))
    assert sum(v for k, v in turns.items() if k.startswith("secondary")) == pytest.approx(2)


def test_ultralinear_taps_by_turns() -> None:
    part = output('screen_tap = 0.43, primary_ohms = "100+110R"')
    w = {x.name: x for x in part.windings}
    half = w["plate a"].turns.value + w["screen a"].turns.value
    assert w["screen a"].turns.value / half == pytest.approx(0.43)
    assert half == pytest.approx(sqrt(8000 / 8) / 2)
    assert w["plate a"].ohms.value + w["screen a"].ohms.value == pytest.approx(100)
    assert w["plate b"].ohms.value + w["screen b"].ohms.value == pytest.approx(110)
    # wound on from plate a over the centre to plate b: each end is the next one's start
    order = ["plate a", "screen a", "screen b", "plate b"]
    assert [w[n].start for n in order] == ["plate a", "screen a", "centre", "screen b"]
    assert [w[n].end for n in order] == ["screen a", "centre", "screen b", "plate b"]


def test_single_ended_has_one_half() -> None:
    part = output('taps = "8R"', "output transformer 5k single-ended")
    assert [w.name for w in part.windings] == ["plate a", "secondary 8"]
    assert part.windings[0].turns.value == pytest.approx(sqrt(5000 / 8))
    assert set(part.leads) == {"plate a", "centre", "common", "8"}


def test_phase_of_the_secondary() -> None:
    a, b = output('in_phase = "a"'), output('in_phase = "b"')
    assert (a.windings[-1].start, a.windings[-1].end) == ("8", "common")
    assert (b.windings[-1].start, b.windings[-1].end) == ("common", "8")


def test_a_tapped_primary_uses_the_tap_of_its_mains() -> None:
    text = (
        HEAD
        + 'T1 = ["mains transformer", { primary = "0-117-230V 20R", heat = "6.3V 2A ct" }]\n'
        + 'R9 = ["100k", "HT", "chassis"]\n'
        + STAGE
    )
    at230 = load(text).parts["T1"]
    assert at230.leads["primary 0"] == "neutral"
    assert at230.leads["primary 117"] == "T1 primary 117"
    low = load(text.replace("230V 50Hz", "117V 60Hz"))
    assert low.parts["mains switch"].leads["2"] == low.parts["T1"].leads["primary 117"]
    heat = [sum(w.turns.value for w in p.windings if w.name.startswith("heat")) for p in (at230, low.parts["T1"])]
    assert heat[1] / heat[0] == pytest.approx(1, abs=0.02)  # the secondary is the same; volts are at the tap in use


def test_a_transformer_without_a_primary() -> None:
    with pytest.raises(AmplifierError, match="primary"):
        load(HEAD + 'T1 = ["mains transformer", { heat = "6.3V 2A" }]\nR9 = ["100k", "HT", "chassis"]\n' + STAGE)


def test_ohms_of_two_halves_on_five_leads_are_answered_with_that_very_winding() -> None:
    """By hand: 42 ohm over 300 + 50 V is 36 + 6, 45 ohm 6.43 + 38.6; the remedy reads, and each half keeps its ohms."""
    with pytest.raises(QuantityError) as caught:
        read_winding("ht", "350-50-0-50-350V 200m 42+45R")
    assert caught.value.remedy == '"350-50-0-50-350V 200m 36+6+6.43+38.6R"'
    assert "1 to 50a, 50a to ct, ct to 50b, 50b to 2" in caught.value.allowed
    ohms = [side.ohms or 0.0 for side in read_winding("ht", caught.value.remedy.strip('"')).sides]
    assert sum(ohms[:2]) == pytest.approx(42) and sum(ohms[2:]) == pytest.approx(45, rel=1e-2)


def test_ohms_too_many_on_a_plain_winding_are_shared_out_too() -> None:
    """Three figures on a winding of two stretches: 3 + 4 + 5 ohm over 110 and 120 V are 5.74 and 6.26."""
    with pytest.raises(QuantityError) as caught:
        read_winding("primary", "0-110-230V 3+4+5R")
    assert caught.value.remedy == '"0-110-230V 5.74+6.26R"'
    read_winding("primary", caught.value.remedy.strip('"'))


def test_a_primary_may_have_a_stroke_in_its_name() -> None:
    """Whatever begins with primary is one (docs/file.md); `_` elsewhere is an attribute's."""
    windings = (
        '{ primary_a = "230V", "primary_a 1" = "line", "primary_a 2" = "neutral", ht = "200V 90m", "ht 2" = "chassis" }'
    )
    ht = f"""T1 = ["mains transformer", {windings}, {{ heat = "6.3V 2A", "heat 2" = "chassis" }}]
D1 = ["silicon 1A 1000V", "T1 ht 1", "HT1"]
C1 = ["47u 450V", "HT1", "chassis"]
"""
    found = load(HEAD + ht + stage()).parts["T1"].windings
    assert [w.role for w in found if w.name == "primary_a"] == ["primary"]
