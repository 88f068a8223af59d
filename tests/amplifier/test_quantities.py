"""Values as written. Letter codes: IEC 60062:2016 (the letter stands where the decimal point would)."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstglow.amplifier.what import read_what
from firstglow.quantities import QuantityError, code, read_decimal, read_spread, read_value, show

# IEC 60062:2016, table of letter codes for resistance and capacitance: code, unit, value
IEC = [
    ("R10", "ohm", "0.1"),
    ("R332", "ohm", "0.332"),
    ("1R0", "ohm", "1"),
    ("3R32", "ohm", "3.32"),
    ("33R2", "ohm", "33.2"),
    ("332R", "ohm", "332"),
    ("1K0", "ohm", "1000"),
    ("3K32", "ohm", "3320"),
    ("33K2", "ohm", "33200"),
    ("332K", "ohm", "332000"),
    ("1M0", "ohm", "1000000"),
    ("3M32", "ohm", "3320000"),
    ("1G0", "ohm", "1e9"),
    ("p10", "F", "0.1e-12"),
    ("3p32", "F", "3.32e-12"),
    ("332p", "F", "332e-12"),
    ("1n0", "F", "1e-9"),
    ("33n2", "F", "33.2e-9"),
    ("1µ0", "F", "1e-6"),
    ("3u32", "F", "3.32e-6"),
    ("332µ", "F", "332e-6"),
]
# The bench's own spellings (common practice).
BENCH = [
    ("4k7", "ohm", "4700"),
    ("2M2", "ohm", "2200000"),
    ("4R7", "ohm", "4.7"),
    ("4.7 kΩ", "ohm", "4700"),
    ("4.7kΩ", "ohm", "4700"),
    ("220kohm", "ohm", "220000"),
    ("1meg", "ohm", "1000000"),
    ("470", "ohm", "470"),
    ("0.22u", "F", "0.22e-6"),
    ("0.22 µF", "F", "0.22e-6"),
    ("47nF", "F", "47e-9"),
    ("150m", "A", "0.15"),
    ("150mA", "A", "0.15"),
    ("2A", "A", "2"),
    ("24mA", "A", "0.024"),
    ("6V3", "V", "6.3"),
    ("6.3V", "V", "6.3"),
    ("312mV", "V", "0.312"),
    ("1.2kV", "V", "1200"),
    ("−38.2V", "V", "-38.2"),
    ("8H", "H", "8"),
    ("50mH", "H", "0.05"),
    ("0.5W", "W", "0.5"),
    ("50Hz", "Hz", "50"),
    ("30%", "1", "0.3"),
    ("0.43", "1", "0.43"),
    ("11s", "s", "11"),
    ("85C", "degC", "85"),
]


@pytest.mark.parametrize(("text", "unit", "value"), IEC + BENCH)
def test_codes_are_read_exactly(text: str, unit: str, value: str) -> None:
    assert read_decimal(text, unit) == Decimal(value)


def test_decimal_until_the_last_step() -> None:
    assert read_value("0.1u", "F") == 1e-7  # 0.1 * 1e-6 is 1.0000000000000001e-07... in floats
    assert read_value("0.3u", "F") == float("0.3e-6")


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("32m", "F"),
        ("32mf", "F"),
        ("32 mF", "F"),
        ("8MFD", "F"),
        ("100mmf", "F"),
        ("32", "F"),
        ("1m", "ohm"),
        ("4,7k", "ohm"),
        ("1,000", "ohm"),
        ("4k7k", "ohm"),
        ("k47", "1"),
        ("", "ohm"),
        ("abc", "V"),
        ("1e99k", "ohm"),
        ("5 V", "A"),
        ("nan", "V"),
        ("inf", "ohm"),
        ("0x10", "ohm"),
        ("٣k", "ohm"),
        ("1" * 60, "ohm"),
        ("--5V", "V"),
        ("5VV", "V"),
        ("6GT", "ohm"),
        ("6kM\u03a9", "ohm"),
    ],
)
def test_refused_and_asked(text: str, unit: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_value(text, unit)
    assert caught.value.remedy
    fixed = caught.value.remedy.strip('"')
    read_value(fixed, unit)


def test_a_lone_m_on_a_capacitor_is_asked_because_the_readings_are_a_thousand_apart() -> None:
    with pytest.raises(QuantityError, match="1000 times apart"):
        read_value("32m", "F")


UNITS = ["ohm", "F", "H", "V", "A", "W", "Hz", "s", "1"]


@given(st.floats(1e-12, 1e12, allow_nan=False), st.sampled_from(UNITS))
def test_code_is_read_back_exactly(value: float, unit: str) -> None:
    assert read_value(code(value, unit), unit) == value


@given(st.floats(1e-6, 1e9), st.sampled_from(["ohm", "F", "H", "V", "A", "Hz"]), st.integers(2, 5))
def test_what_is_shown_is_within_its_digits(value: float, unit: str, digits: int) -> None:
    shown = show(value, unit, digits)
    assert "e" not in shown.lower()
    assert read_value(shown, unit) == pytest.approx(value, rel=0.51 * 10.0 ** (1 - digits), abs=0)


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (220e3, "ohm", "220 kΩ"),
        (4700.0, "ohm", "4.7 kΩ"),
        (0.1e-6, "F", "0.1 µF"),
        (47e-9, "F", "47 nF"),
        (32e-6, "F", "32 µF"),
        (0.047, "V", "47 mV"),
        (38.2, "V", "38.2 V"),
        (0.024, "A", "24 mA"),
        (0.0, "V", "0 V"),
        (-26.25, "V", "-26.2 V"),
        (999.6, "ohm", "1 kΩ"),
        (0.43, "1", "0.43"),
        (7.5, "W", "7.5 W"),
    ],
)
def test_shown_as_a_bench_person_writes_it(value: float, unit: str, text: str) -> None:
    assert show(value, unit) == text


@pytest.mark.parametrize(
    ("text", "fraction"), [("5%", 0.05), ("±5%", 0.05), ("+-5 %", 0.05), ("0.1%", 0.001), ("100%", 1.0)]
)
def test_tolerances(text: str, fraction: float) -> None:
    spread = read_spread(text, "ohm")
    assert spread is not None
    assert spread.fraction == pytest.approx(fraction, rel=1e-15)


@pytest.mark.parametrize("text", ["0%", "-5%", "101%"])
def test_tolerances_that_are_none(text: str) -> None:
    with pytest.raises(QuantityError):
        read_spread(text, "ohm")


def test_an_absolute_tolerance() -> None:
    spread = read_spread("±0.2R", "ohm")
    assert spread is not None
    assert spread.absolute == 0.2


@given(st.text(max_size=30), st.sampled_from(UNITS))
def test_no_text_does_more_than_refuse(text: str, unit: str) -> None:
    try:
        value = read_value(text, unit)
    except QuantityError as error:
        assert str(error)
    else:
        assert value == value
        assert abs(value) < 1e43


# Letters of old cans and drawings: MFD is µF, MMFD and uuF pF, VW and the like working volts (common practice).
@pytest.mark.parametrize(("text", "same", "farads"), [
    ("0.1 MFD", "0.1u", 0.1e-6), ("8 mfd", "8u", 8e-6), ("250 mmfd", "250p", 250e-12), ("50 uuF", "50p", 50e-12),
    ("8 MFD 450 VW", "8u 450V", 8e-6), ("0.1 MFD 400V paper", "0.1u 400V paper", 0.1e-6), ("25 ufd 25 V.W.", "25u 25V", 25e-6),
    ("8MFD 450 W.V.D.C. electrolytic", "8u 450V electrolytic", 8e-6), ("16 µF 450 V.D.C. WKG", "16 uF 450V", 16e-6),
    ("0.1 M.F.D.", "0.1u", 0.1e-6),
])  # fmt: skip
def test_the_remedy_for_old_letters_is_the_same_value_in_the_file_s_own(text: str, same: str, farads: float) -> None:
    with pytest.raises(QuantityError) as caught:
        read_what(text, None, "capacitor")
    assert caught.value.remedy == f'"{same}"'
    assert read_what(same, None, "capacitor").values["farads"][0] == pytest.approx(farads)
