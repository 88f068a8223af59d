"""Options and JSON to situations and faults; the bench file."""

from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firstglow import schemas
from firstglow.amplifier import (
    Amplifier,
    BenchError,
    Fault,
    Situation,
    SituationError,
    all_faults,
    load,
    load_bench,
    situation_from_json,
    situation_from_options,
    situation_to_json,
)
from firstglow.amplifier.options import fault_text, read_fault

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def a() -> Amplifier:
    return load(next((ROOT / "examples").glob("a-*.toml")))


@pytest.fixture(scope="module")
def b() -> Amplifier:
    return load(next((ROOT / "examples").glob("b-*.toml")))


def test_the_line_of_the_format_decision(b: Amplifier) -> None:
    situation, faults = situation_from_options(
        b,
        mains_now="118",
        out=["V3,V2"],
        lift=["feedback"],
        pot=["P1=0"],
        fault=["R7:open", "C5:shorted", "C5:leaks=500k"],
        meter="20k",
    )
    assert situation == Situation(
        mains_volts=118.0, out=frozenset({"V3", "V2"}), lifted=frozenset({"feedback"}), pots={"P1": 0.0}, meter="20k"
    )
    assert faults == (Fault("R7", "open"), Fault("C5", "shorted"), Fault("C5", "leaks", 500e3))


def test_nothing_said_is_as_it_stands(a: Amplifier) -> None:
    assert situation_from_options(a) == (Situation(mains_volts=230.0), ())


def test_a_name_of_the_channel_means_it_in_every_channel(a: Amplifier) -> None:
    situation, _ = situation_from_options(
        a, lift=["feedback"], pot=["P1=30%", "right P2=1", "volume=0.5"], out=["V2", "right V3"]
    )
    assert situation.lifted == {"left feedback", "right feedback"}
    assert situation.pots == {"left P1": 0.3, "right P1": 0.3, "right P2": 1.0, "left P3": 0.5, "right P3": 0.5}
    assert situation.out == {"V2", "V7"}
    one, _ = situation_from_options(a, lift=["right feedback"])
    assert one.lifted == {"right feedback"}


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("left R25:drifts=1.5", Fault("left R25", "drifts", 1.5)),
        ("V7:grid to cathode", Fault("V7", "grid to cathode")),
        ("right V3:weak=0.5", Fault("V7", "weak", 0.5)),
        ("T1:ht a open", Fault("T1", "ht a open")),
        ("T1:wrong tap=240", Fault("T1", "wrong tap", 240.0)),
        ("V9:wrong type=5u4g", Fault("V9", "wrong type=5U4G")),
        ("V9:half dead", Fault("V9", "half dead")),
        ("T2:plates exchanged", Fault("T2", "plates exchanged")),
        ("left P1:wiper open", Fault("left P1", "wiper open")),
        ("V3 heater:open", Fault("V3 heater", "open")),
        ("D1:reversed", Fault("D1", "reversed")),
        ("V3:heater to cathode=50k", Fault("V3", "heater to cathode", 50e3)),
    ],
)
def test_faults_as_typed(a: Amplifier, text: str, fault: Fault) -> None:
    assert read_fault(a, text) == fault
    assert read_fault(a, fault_text(a, fault)) == fault


def test_without_a_value_the_middle_of_the_range(b: Amplifier) -> None:
    assert read_fault(b, "C5:leaks").value == pytest.approx(1e7)  # sqrt(1e5 * 1e9)


@pytest.mark.parametrize(
    "option",
    [
        {"mains_now": "300"},
        {"mains_now": "-1"},
        {"mains_now": "abc"},
        {"mains_now": "nan"},
        {"out": ["V99"]},
        {"lift": ["feedbak"]},
        {"pot": ["P1"]},
        {"pot": ["P1=2"]},
        {"pot": ["P9=0"]},
        {"pot": ["P1=x"]},
        {"fault": ["R25:open"]},
        {"fault": ["left R25:opn"]},
        {"fault": ["left R25"]},
        {"fault": ["left R25:open=3"]},
        {"fault": ["left R25:drifts=-1"]},
        {"fault": ["left R25:drifts=0"]},
        {"fault": ["V9:wrong type=EL34"]},
        {"fault": [""]},
        {"lamp": "0"},
        {"switch_open": ["S9"]},
        {"fault": ["V1:plate to screen=3"]},
        {"test_ohms": "12z"},
    ],
    ids=str,
)
def test_options_that_do_not_fit_say_what_would(a: Amplifier, option: dict) -> None:
    with pytest.raises(SituationError) as caught:
        situation_from_options(a, **option)
    assert caught.value.remedy
    assert caught.value.allowed
    assert "\n" not in str(caught.value)


def test_every_fault_of_every_example_can_be_typed() -> None:
    for file in sorted((ROOT / "examples").glob("*.toml")):
        amplifier = load(file)
        cases = all_faults(amplifier)
        assert len({(c.part, c.mode) for c in cases}) == len(cases)
        for case in cases:
            for share in (0.0, 0.5, 1.0):
                fault = case.at(share)
                assert read_fault(amplifier, fault_text(amplifier, fault)) == fault
                if case.high:
                    assert case.low <= fault.value * (1 + 1e-12)
                    assert fault.value <= case.high * (1 + 1e-12)
                else:
                    assert fault.value is None


def test_severity_is_log_uniform(b: Amplifier) -> None:
    case = next(c for c in all_faults(b) if (c.part, c.mode) == ("C5", "leaks"))
    assert case.at(0.25).value == pytest.approx(case.low * (case.high / case.low) ** 0.25)


def test_the_twelve_dangers_can_be_said_of_the_first_example(a: Amplifier) -> None:
    for text in (
        "D1:reversed",
        "left P1:wiper open",
        "T1:ht a open",
        "C1:shorted",
        "V3:grid to cathode",
        "V3:plate to screen",
        "left C13:leaks=500k",
        "T1:heat a shorted",
        "V9:wrong type=5U4GB",
        "T1:wrong tap=200",
        "left R22:open",
        "left R24:open",
        "T2:plates exchanged",
    ):
        read_fault(a, text)


SITUATIONS = st.builds(
    Situation,
    mains_volts=st.floats(0, 300),
    mains_hz=st.none() | st.floats(40, 70),
    out=st.frozensets(st.sampled_from(["V1", "V3"])),
    lifted=st.frozensets(st.sampled_from(["left feedback"])),
    pots=st.dictionaries(st.sampled_from(["left P1"]), st.floats(0, 1)),
    load=st.sampled_from(["dummy", "none", "loudspeaker"]),
    lamp_watts=st.none() | st.floats(10, 200),
    feedback=st.sampled_from(["closed", "open", "test"]),
    test_ohms=st.none() | st.floats(1, 1e6),
    loads=st.dictionaries(st.just("HT1"), st.floats(1, 1e6)),
    meter=st.sampled_from(["digital", "1k"]),
)


@settings(max_examples=50, deadline=None)
@given(SITUATIONS)
def test_json_and_back_and_the_shipped_schema(situation: Situation) -> None:
    data = situation_to_json(situation, "in words")
    jsonschema.validate(data, schemas.load("situation"))
    assert situation_from_json(data) == situation


@pytest.mark.parametrize(
    "data",
    [
        {},
        {"mains_volts": "x"},
        {"mains_volts": float("nan")},
        {"mains_volts": True},
        {"mains_volts": 1, "out": "V3"},
        {"mains_volts": 1, "pots": [1]},
        {"mains_volts": 1, "load": "cat"},
        {"mains_volts": 1, "colour": 3},
        {"mains_volts": 1, "meter": 3},
        {"mains_volts": None},
    ],
    ids=str,
)
def test_json_that_is_no_situation(data: dict) -> None:
    with pytest.raises(SituationError):
        situation_from_json(data)


def test_the_default_bench_is_sensible() -> None:
    bench = load_bench()
    assert bench.variable_transformer
    assert not bench.isolating_transformer
    assert bench.lamps == tuple(sorted(bench.lamps))
    assert bench.lead_volts >= 1000
    assert bench.words == {"valve": "valve", "plate": "plate", "ht": "HT", "chassis": "chassis"}


def test_a_bench_file() -> None:
    bench = load_bench(
        'format = 1\nmains = "236V"\nvariable_transformer = false\nlamps = ["100W", "40W"]\n'
        'dummy_load = "15R 20W"\nwords = { ht = "B+" }\n'
        '[meters.mine]\nkind = "moving coil"\nohms_per_volt = "20k"\n'
    )
    assert (bench.mains_now, bench.variable_transformer, bench.lamps) == (236.0, False, (40.0, 100.0))
    assert (bench.dummy_ohms, bench.dummy_watts) == (15.0, 20.0)
    assert bench.words["ht"] == "B+"
    assert dict(bench.meters["mine"]) == {"kind": "moving coil", "ohms_per_volt": "20k"}
    assert bench.meter_lines["mine"] == 7


def test_a_bench_file_with_many_mistakes_tells_them_all() -> None:
    text = 'format = 1\nmains = "9V"\nvariable_transformer = 3\nlamps = 4\nleads = "x"\nmeters_at_once = 0\n'
    text += 'dummy_load = "8R"\nwords = { valve = "bulb", pin = "x" }\n'
    with pytest.raises(BenchError) as caught:
        load_bench(text + '[meters.a]\ncount = 5\ndc = "often"\n', name="bench.toml")
    assert len(caught.value.problems) == 10
    assert all(p.text.startswith("bench.toml:") for p in caught.value.problems)


def test_an_amplifier_key_in_a_bench_file_is_unknown() -> None:
    with pytest.raises(BenchError, match="unknown key"):
        load_bench("format = 1\nparts = {}\n")
