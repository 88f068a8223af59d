"""Markings to meanings against published examples; the source stands beside each. Facts: standards.toml."""

import pytest

from firstglow.markings.read import read
from firstglow.markings.series import MarkingError

# IEC 60062 colour code, standards.toml mark.resistor_colour (read on pages).
BANDS = [
    ("yellow violet orange gold", 47000.0, 0.05), ("brown black yellow silver", 100000.0, 0.1),
    ("red violet gold gold", 2.7, 0.05), ("green blue black red brown", 56000.0, 0.01),
    ("yellow violet yellow", 470000.0, 0.2), ("YE VT OG GD", 47000.0, 0.05), ("yellow-violet-orange-gold", 47000.0, 0.05),
    ("gold orange violet yellow", 47000.0, 0.05),  # typed from the wrong end: gold is no digit
    ("orange orange red brown brown red", 3320.0, 0.01),  # 332 x 10, by hand
]  # fmt: skip
# IEC 60062 letters, standards.toml mark.rkm and mark.tolerance_letters (read on pages).
LETTERS = [
    ("R47", 0.47, None), ("4R7", 4.7, None), ("470R", 470.0, None), ("4K7", 4700.0, None), ("4k7", 4700.0, None),
    ("47K3", 47300.0, None), ("4M7", 4.7e6, None), ("1M0", 1e6, None), ("2n2", 2.2e-9, None), ("n47", 4.7e-10, None),
    ("4p7", 4.7e-12, None), ("2u2", 2.2e-6, None), ("2µ2", 2.2e-6, None), ("6K8G", 6800.0, 0.02), ("R33M", 0.33, 0.2),
    ("4K7J", 4700.0, 0.05), ("4n7J", 4.7e-9, 0.05), ("p33", 3.3e-13, None), ("2M2", 2.2e6, None),
]  # fmt: skip
# EIA / IEC 60062 figures, standards.toml mark.capacitor_three_digit (read on a page); volts JIS, from memory.
FIGURES = [
    ("102K", 1e-9, 0.1), ("473J", 4.7e-8, 0.05), ("104K", 1e-7, 0.1), ("2A104K", 1e-7, 0.1), ("104K 2J", 1e-7, 0.1),
]  # fmt: skip
# Film capacitors, a point and no unit: µF, the tolerance's letter, working volts (common practice).
FILM = [
    (".047K400", 47e-9, 0.1), (".047K 400V", 47e-9, 0.1), ("2.2K 250V", 2.2e-6, 0.1), (".022J 630", 22e-9, 0.05),
    ("473J400", 47e-9, 0.05), ("104K400V", 100e-9, 0.1),
]  # fmt: skip
# Period notation, standards.toml val.unit_legacy (from memory).
OLD = [
    ("250 mmf", 250e-12, None), (".02 mfd", 20e-9, None), ("25 uuF", 25e-12, None), ("0.02 MFD 600 V", 20e-9, None),
    ("8 uF 450V", 8e-6, None), (".02 600V", 20e-9, None), ("0.1/400", 100e-9, None), ("2 meg", 2e6, None), ("10H", 10.0, None),
    ("47 kΩ ±5%", 47e3, 0.05),
]  # fmt: skip


@pytest.mark.parametrize(("text", "value", "tolerance"), BANDS + LETTERS + FIGURES + FILM + OLD)
def test_one_meaning(text: str, value: float, tolerance: float | None) -> None:
    found = read(text)
    assert [m.value for m in found.meanings] == [value]
    assert found.meanings[0].tolerance == tolerance and found.ask is None


# standards.toml: 479 and 104 of the same row; the rest follow from the two rules by hand.
@pytest.mark.parametrize(("text", "of", "value"), [
    ("104", "capacitor", 1e-7), ("479", "capacitor", 4.7e-12), ("104", "resistor", 1e5), ("4702", "resistor", 47e3),
    ("4R7K", "inductor", 4.7e-6), ("101K", "inductor", 1e-4), ("470K", "resistor", 470e3),
])  # fmt: skip
def test_said_of_a_part(text: str, of: str, value: float) -> None:
    assert read(text, of).meanings[0].value == value


@pytest.mark.parametrize(("text", "values"), [
    ("10m", [1e-5, 1e-2, 1e-2, 1e7]), ("10mf", [1e-5, 1e-2]), ("16 MF 450 V", [16e-6, 16e-3]), ("104", [1e-7, 1e5, 0.1]),
    ("470K", [47e-12, 470e-12, 470e3]), ("500K", [50e-12, 500e-12, 500e3]), ("470J", [47e-12, 470e-12]),
    ("470K 2W", [47e-12, 470e3]), ("1052G", [10.5e-9, 10.5e3, 1e-6]),
    ("10M", [1e7, 1e4, 1e-5, 1e-2]), ("0.1", [1e-7, 0.1]),
    ("0.047K", [47e-9, 47.0]), (".5K", [0.5e-6, 500.0]),  # no volts said: a film capacitor of 10 %, or kilohms
    ("brown black black red brown", [10e3, 120.0]),  # from the other end 12 x 10, 1 %: both in E24
    ("orange black brown", [300.0, 10e3]),  # 300 is in no E6; from the other end 10 k is
])  # fmt: skip
def test_more_than_one_is_asked_with_every_meaning(text: str, values: list[float]) -> None:
    found = read(text)
    assert [m.value for m in found.meanings] == pytest.approx(values)
    assert found.ask and "measure it" in found.ask.lower()


@pytest.mark.parametrize(("text", "value"), [("22uH", 22e-6), ("10mH", 10e-3), ("100nH", 1e-7), ("2.2uH", 2.2e-6)])
def test_henries_are_no_capacitor_of_three_per_cent(text: str, value: float) -> None:
    """H behind a prefix is the unit (SI); as a tolerance letter (IEC 60062: 3 %) it stands behind figures, 4n7H."""
    (found,) = read(text).meanings
    assert (found.of, found.value) == ("inductor", pytest.approx(value)) and found.tolerance is None


# Sleeves of film and paper capacitors leave the V away (common practice); value and tolerance by the codes' own rules by hand.
@pytest.mark.parametrize(("text", "value", "tolerance", "volts"), [
    ("474J 400", 470e-9, 0.05, 400), (".02 MFD 600", 20e-9, None, 600), ("0.1 600", 100e-9, None, 600),
    (".05 MFD 400 DC", 50e-9, None, 400),
    ("104K 630", 100e-9, 0.1, 630), ("0.047uF 10% 400", 47e-9, 0.1, 400), ("8 uF 450", 8e-6, None, 450), ("22n 1000", 22e-9, None, 1000),
])  # fmt: skip
def test_working_volts_without_a_v(text: str, value: float, tolerance: float | None, volts: float) -> None:
    for found in (read(text), read(text, "capacitor")):
        (m,) = found.meanings
        assert (m.of, m.value, m.tolerance, m.volts) == ("capacitor", pytest.approx(value, rel=1e-12), tolerance, volts)
        assert found.ask is None and any("without a V" in note for note in m.notes)


# what no capacitor alone bears, volts that nothing is made for, a number in two groups: no volts are guessed
@pytest.mark.parametrize("text", ["4.7k 400", "474J 413", "4 700", "47 100", "4K7 250", "10H 100", "474J 400 630"])
def test_a_number_behind_anything_else_is_no_volts(text: str) -> None:
    with pytest.raises(MarkingError, match="no marking of"):
        read(text)
    with pytest.raises(MarkingError):
        read("474J 400", "resistor")


def test_plain_470_on_a_capacitor_is_asked() -> None:
    assert [m.value for m in read("470", "capacitor").meanings] == pytest.approx([47e-12, 470e-12])


# standards.toml mark.mica_3_and_5_dot, mark.mica_6_dot (pages); mark.paper_tubular_bands (memory); body_tip_spot (page).
@pytest.mark.parametrize(("text", "layout", "value", "volts", "tolerance"), [
    ("red green black", "dots", 25e-12, 500, 0.2), ("black green brown red yellow black", "dots", 51e-12, 500, 0.04),
    ("yellow violet orange black blue", "tubular", 47e-9, 600, 0.2), ("red orange brown", "body-tip-spot", 230.0, None, 0.2),
    ("red green brown orange gold", "dots", 250e-12, 300, 0.05), ("yellow violet orange silver brown orange", "tubular", 47e-9, 1300, 0.1),
    ("red green black brown gold blue", "dots", 2500e-12, 600, 0.05),  # older RMA, three figures
])  # fmt: skip
def test_old_colours(text: str, layout: str, value: float, volts: float | None, tolerance: float) -> None:
    meaning = read(text, None, layout).meanings[0]
    assert (meaning.value, meaning.volts) == (pytest.approx(value, rel=1e-12), volts)
    assert meaning.tolerance == pytest.approx(tolerance)


def test_uneven_and_absolute_tolerances() -> None:
    z = read("104Z").meanings[0]  # IEC 60062: Z is -20 +80 %
    assert (z.low, z.high) == (-0.2, 0.8)
    assert read("104 -20+80%", "capacitor").meanings[0].low == -0.2
    assert read("4p7C").meanings[0].high == pytest.approx(0.25 / 4.7)  # under 10 pF the letter is pF


@pytest.mark.parametrize(("text", "wide", "other"), [
    ("10pC", 0.025, "±0.25 %"), ("10pF C", 0.025, "±0.25 %"), ("10p0B", 0.01, "±0.1 %"), ("100D", 0.05, "±0.5 %"),  # 10 pF
    ("10p0F", 0.1, "±1 %"), ("12pC", 0.0025, "±0.25 pF"), ("22pD", 0.005, "±0.5 pF"), ("330B", 0.001, "±0.1 pF"),
])  # fmt: skip
def test_about_10_pf_makers_and_the_standard_differ_and_both_are_told(text: str, wide: float, other: str) -> None:
    """IEC 60062: pF below 10 pF (standards.toml mark.tolerance_letters). Makers of ceramics: to 10 pF and with it (from memory); lists
    of American practice have C and D as pF without a limit (published, several)."""
    (meaning,) = read(text, "capacitor").meanings
    assert meaning.high == pytest.approx(wide) and meaning.low == pytest.approx(-wide)
    assert any(other in note for note in meaning.notes)


@pytest.mark.parametrize("text", ["9p1C", "4p7D", "100pC", "1n0C", "22pJ", "10pJ", "4K7C"])
def test_elsewhere_a_letter_says_one_thing(text: str) -> None:
    assert not any("IEC 60062" in note for note in read(text).meanings[0].notes)


@pytest.mark.parametrize("text", ["10nP", "1n0P", "0.01uP"])
def test_p_on_a_capacitor_is_the_least_value_or_a_fine_tolerance(text: str) -> None:
    """Lists of American practice: P is -0 +100 % (published, several); IEC 60062: 0.02 % (from memory). On a resistor that alone."""
    (meaning,) = read(text).meanings
    assert (meaning.low, meaning.high) == (0.0, 1.0)
    assert any("±0.02 %" in note for note in meaning.notes)
    assert any(line.startswith("−0 +100 %") for line in meaning.shown())
    assert read("4K7P").meanings[0].high == pytest.approx(0.0002)


def test_three_figures_and_p_are_a_ceramic_s_code_or_plain_pf() -> None:
    """103 pF is in no series to E48 (IEC 60063), 470 pF in all: what is no made value is asked about."""
    found = read("103P")
    assert [m.value for m in found.meanings] == [pytest.approx(10e-9), pytest.approx(103e-12)]
    assert (found.meanings[0].low, found.meanings[0].high) == (0.0, 1.0) and found.ask is not None
    assert [m.value for m in read("470P").meanings] == [pytest.approx(470e-12)]
    assert [m.value for m in read("100P").meanings] == [pytest.approx(100e-12)]


def test_nf_uf_and_pf_stand_together_and_the_slip_is_said() -> None:
    lines = read("104K").meanings[0].shown()
    assert lines[0] == "100 nF = 0.1 µF = 100000 pF"
    assert any("10 nF or 1 µF" in line for line in lines)
    assert "4.7 kΩ = 4700 Ω" in read("4K7").meanings[0].shown()
    assert any("22 nF (+10 %)" in line for line in read("0.02 MFD 600 V").meanings[0].shown())


@pytest.mark.parametrize("text", [
    "hello", "", "   ", "x" * 200, "yellow violet", "yellow vilet orange", "gr rd br", "6V3", "600V", "1e5", "4.7k 0%",
    "4.7k 500%", "50,000", "black black black", "--", "%", "gold gold gold gold", "0uF", "0mfd", "16+16 450V", "R R R",
    "b r g", "🙂", "2A2A2A", "R", "p", "-5K", "٤K٧",
    "nan", "inf", "red " * 15,
])  # fmt: skip
def test_no_marking_is_refused_with_a_remedy(text: str) -> None:
    with pytest.raises(MarkingError, match=r"^marking: .*; .*; try .+"):
        read(text)


def test_a_remedy_works() -> None:
    """What follows "try" reads, where it is not an option."""
    for text in ("hello", "6V3", "50,000", "0,047 uF", "4.7k 0%", "16+16 450V", "black black black"):
        with pytest.raises(MarkingError) as refused:
            read(text)
        read(str(refused.value).split("; try ")[1].split(", ")[0])
    with pytest.raises(MarkingError, match=r"try 50000$"):  # a point there would be a thousand times less
        read("50,000")


def test_bands_from_the_wrong_end_have_one_meaning_where_only_one_end_fits() -> None:
    assert "other end" in read("gold orange violet yellow").meanings[0].how
    assert read("brown black red").ask is None  # 200 ohm 20 % from the other end is in no E6
    assert read("green blue black red brown").ask is None  # 120 Mohm 0.5 %: no such part is sold
    assert any("choke" in line for line in read("brown black red").meanings[0].shown())


# IEC 60062 colour table (standards.toml mark.resistor_colour, read on pages; tolerance colours there from memory).
DIGITS = ["black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white"]
TOLERANCE = {
    "silver": 0.1, "gold": 0.05, "brown": 0.01, "red": 0.02, "green": 0.005, "blue": 0.0025, "violet": 0.001,
    "orange": 0.0005, "yellow": 0.0002, "grey": 0.0001,
}  # fmt: skip


def test_every_colour_in_every_place() -> None:
    for n, name in enumerate(DIGITS):
        assert read(f"brown {name} black gold").meanings[0].value == 10 + n
        assert read(f"brown black {name} gold").meanings[0].value == pytest.approx(10 * 10**n)
        assert read(f"red brown {name} black gold").meanings[0].value == 210 + n
    assert read("brown black gold gold").meanings[0].value == 1.0
    assert read("brown black silver gold").meanings[0].value == pytest.approx(0.1)
    assert read("brown black pink gold").meanings[0].value == pytest.approx(0.01)
    for name, fraction in TOLERANCE.items():
        assert read(f"brown black orange {name}").meanings[0].tolerance == pytest.approx(fraction)


# IEC 60062 letters (standards.toml mark.tolerance_letters; B C D F G J K M Z on pages, the others from memory), percent.
@pytest.mark.parametrize(("letter", "low", "high"), [
    ("B", -0.1, 0.1), ("C", -0.25, 0.25), ("D", -0.5, 0.5), ("F", -1, 1), ("G", -2, 2), ("J", -5, 5), ("K", -10, 10),
    ("M", -20, 20), ("Z", -20, 80), ("N", -30, 30), ("Q", -10, 30), ("S", -20, 50), ("T", -10, 50), ("H", -3, 3),
    ("E", -0.005, 0.005), ("L", -0.01, 0.01), ("P", -0.02, 0.02), ("W", -0.05, 0.05),
])  # fmt: skip
def test_every_tolerance_letter(letter: str, low: float, high: float) -> None:
    meaning = read(f"4K7{letter}").meanings[0]
    assert (meaning.low, meaning.high) == (pytest.approx(low / 100), pytest.approx(high / 100))


# standards.toml mark.capacitor_voltage_code (JIS, EIA-198; from memory); 1A, 2B, 3E by the same R10 steps of ISO 3.
VOLTS = {
    "1C": 16, "1E": 25, "1V": 35, "1H": 50, "1J": 63, "2A": 100, "2C": 160, "2D": 200, "2E": 250, "2F": 315, "2V": 350,
    "2G": 400, "2W": 450, "2H": 500, "2J": 630, "2K": 800, "3A": 1000, "3B": 1250, "3C": 1600, "3D": 2000, "1A": 10,
    "2B": 125, "3E": 2500,
}  # fmt: skip


def test_every_volts_code() -> None:
    for code, volts in VOLTS.items():
        for text in (f"{code}104K", f"104K {code}", f"104K{code}"):
            assert [m.volts for m in read(text).meanings] == [volts], text


@pytest.mark.parametrize("dots", ["red", "red green", "black black black"])
def test_dots_that_are_none_are_told_of_dots_and_the_remedy_reads(dots: str) -> None:
    with pytest.raises(MarkingError, match="no capacitor; 3, 5 or 6 dots") as told:
        read(dots, None, "dots")
    remedy = str(told.value).rsplit("try --as dots ", 1)[1]
    assert read(remedy, None, "dots").meanings[0].value == pytest.approx(51e-12)  # green brown black: 51 x 1 pF


# Old cans: MFD is µF, MMFD and uuF pF; VW, V.W., WVDC, V.D.C. WKG are working volts (common practice).
@pytest.mark.parametrize(("text", "value", "volts"), [
    ("8 MFD 450 VW", 8e-6, 450), ("8 MFD 450 V.W.", 8e-6, 450), ("8MFD 450VW", 8e-6, 450), ("16 MFD", 16e-6, None),
    ("16 MFD 350 V.D.C. WKG", 16e-6, 350), ("8 mfd 450 V.D.C. WKG.", 8e-6, 450), ("8 MFD 450 VDCW", 8e-6, 450),
    ("8 MFD 450 WVDC", 8e-6, 450), ("8 MFD 450 W.V.D.C.", 8e-6, 450), ("8 M.F.D. 350 V. D.C. WORKING", 8e-6, 350),
    ("8 mfd 450 volts working", 8e-6, 450), ("250 MMFD 500 V.W.", 250e-12, 500), ("50 uuF 350 VW", 50e-12, 350),
])  # fmt: skip
def test_old_cans(text: str, value: float, volts: float | None) -> None:
    (m,) = read(text).meanings
    assert (m.of, m.value, m.volts) == ("capacitor", pytest.approx(value), volts)


def test_surge_volts_beside_the_working_ones_are_no_working_volts() -> None:
    (m,) = read("8 MFD 450 V WKG 525 V PEAK").meanings
    assert m.volts == 450 and any("525 V" in note and "not its working volts" in note for note in m.notes)
    (m,) = read("8 MFD 525 V SURGE").meanings
    assert m.volts is None


def test_working_volts_alone_are_told_as_such_and_no_value_is_made_of_them() -> None:
    with pytest.raises(MarkingError, match=r"working volts alone.*try 8uF 350V"):
        read("350 V.W.")


# JEDEC numbers semiconductors 1N, 2N ... in order of registration, Pro Electron by letters: nothing of a value is in them.
@pytest.mark.parametrize("text", ["1N4007", "1N34A", "1N5408", "2N3055", "UF4007", "BY127", "ECC83", "GZ34"])
def test_a_type_is_no_marking_of_a_value(text: str) -> None:
    for of in (None, "resistor"):
        with pytest.raises(MarkingError, match=r"'s type .*no marking of a value|'s type, no marking of a value"):
            read(text, of)


def test_a_letter_code_with_n_stays_one() -> None:
    """IEC 60062: 1n5, and with capitals as old stamps have it; of a part said to be a capacitor a long one too."""
    assert read("1N5", "capacitor").meanings[0].value == pytest.approx(1.5e-9)
    assert read("1n5").meanings[0].value == pytest.approx(1.5e-9)
    assert read("4N7").meanings[0].value == pytest.approx(4.7e-9)
