"""Verdicts on a small hand-made ladder: every rule of the contract by itself."""

from dataclasses import replace

import pytest

from firstglow.amplifier.situation import Situation
from firstglow.readings.expected import ExpectedLadder, ExpectedReading, ExpectedRung, Stop
from firstglow.readings.meters import ReadingsError, digital
from firstglow.readings.probe import Beside, Hold, PlannedReading, PlannedRung, Probe
from firstglow.readings.slips import slip
from firstglow.readings.taken import parse_taken
from firstglow.readings.typed import typed_number
from firstglow.readings.verdict import verdict

FULL = Situation(230.0)
DIAL = Situation(69.0)


def reading(
    name: str, kind: str = "dc volts", situation: Situation = FULL, quantity: str = "volts", **numbers: object
) -> ExpectedReading:
    plan = {k: numbers.pop(k) for k in ("needs", "stop_words", "check_first", "range_volts", "beside") if k in numbers}
    planned = PlannedReading(name, name, Probe(kind, "A", "chassis", quantity), situation, "clip", **plan)
    top = max(abs(float(numbers.get(k) or 0.0)) for k in ("low", "high"))
    on = None if kind in {"lamp", "look"} else digital().range_for(kind, top)
    return ExpectedReading(planned, name.split("/")[0], on, **numbers)


def ladder() -> ExpectedLadder:
    rungs = [
        ("3", [
            reading("3/bias/left", expected=-38.2, low=-41.0, high=-35.0, stop_above=Stop(-31.0, "less than holds the "
                    "strongest valve"), mains_curve=tuple(-38.2 * m for m in (0.9, 0.95, 1, 1.05, 1.1)),
                    check_first=("D1",), source_ohms=220e3),
            reading("3/ht", expected=0.0, low=-0.1, high=0.1, stop_above=Stop(10.0, "HT is not off")),
            reading("3/early", situation=DIAL, expected=-11.0, low=-12.0, high=-10.0, needs=False),
        ]),
        ("4", [
            reading("4/ht", expected=431.2, low=410.0, high=452.0, stop_above=Stop(450.0, "C1", True, "x"),
                    mains_curve=tuple(431.2 * m for m in (0.9, 0.95, 1, 1.05, 1.1))),
            reading("4/lamp", "lamp", quantity="lamp", expected="dark", words=("dark",)),
            reading("4/creep", expected=300.0, low=280.0, high=320.0, note_only="still warming", needs=False),
        ]),
        ("5", [
            reading("5/open", "ohms", quantity="open ohms", expected=None, low=10e6, high=None),
            reading("5/glow", "look", quantity="look", expected="yes", words=("yes",), stop_words="red plate"),
        ]),
    ]  # fmt: skip
    made = tuple(
        ExpectedRung(PlannedRung(i, i, FULL, "", (), tuple(r.planned for r in rs), Hold(False, "")), tuple(rs))
        for i, rs in rungs
    )
    by_id = {r.id: r for _, rs in rungs for r in rs}
    return ExpectedLadder("Test", "0", 230.0, digital(), made, by_id=by_id)


def test_what_separates_healthy_from_sick_comes_before_the_causes_where_a_stop_cuts_the_band() -> None:
    """Healthy ones read to 452 V and the stop is at 450: 451 is off all the same, and the sheet's first measurement is first here too.
    A stop outside its band has none: causes alone."""
    made = ladder()
    ht = made.by_id["4/ht"]
    cut = replace(
        ht, stop_above=Stop(450.0, "C1", True, "measure R1"), planned=replace(ht.planned, check_first=("leak",))
    )
    rung = replace(made.rungs[1], readings=(cut, *made.rungs[1].readings[1:]))
    made = replace(made, rungs=(made.rungs[0], rung, made.rungs[2]), by_id={**made.by_id, "4/ht": cut})
    off, bias = verdict(made, parse_taken('[readings]\n"4/ht" = "451"\n"3/bias/left" = "-30"\n')).verdicts[::-1]
    assert off.verdict == bias.verdict == "switch off now"
    assert off.check_first == ("measure R1", "leak")
    assert bias.check_first == ("D1",)


def one(name: str, value: str, extra: str = "", top: str = "") -> object:
    text = f'{top}\n[readings]\n"{name}" = {{ value = "{value}"{extra} }}\n'
    return verdict(ladder(), parse_taken(text)).verdicts[0]


@pytest.mark.parametrize(
    ("name", "value", "answer"),
    [
        ("3/bias/left", "-38,2", "go on"), ("3/bias/left", "-41.0", "go on"), ("3/bias/left", "-41.1", "look first"),
        ("3/bias/left", "-33", "look first"), ("3/bias/left", "-30.9", "switch off now"),
        ("3/bias/left", "38.2", "switch off now"), ("3/ht", "-20 mV", "go on"), ("3/ht", "10.1", "switch off now"),
        # inside the band and past the stop: the stop wins
        ("4/ht", "451", "switch off now"), ("4/ht", "OL", "switch off now"), ("4/ht", "449", "go on"),
        ("4/lamp", "dark", "go on"), ("4/lamp", "half", "switch off now"),
        ("4/creep", "100", "note only"),
        ("5/open", "OL", "go on"), ("5/open", "12M", "go on"), ("5/open", "2M2", "look first"),
        ("5/glow", "yes", "go on"), ("5/glow", "no", "switch off now"),
    ],
)  # fmt: skip
def test_answer(name: str, value: str, answer: str) -> None:
    found = one(name, value)
    assert found.verdict == answer
    assert found.why


def test_a_wrong_sign_still_switches_off_and_says_what_it_may_be() -> None:
    found = one("3/bias/left", "38.2")
    assert "sign" in found.why
    assert found.check_first == ("D1",)


def test_slips() -> None:
    bias, ht = ladder().by_id["3/bias/left"], ladder().by_id["4/ht"]
    assert "mV typed as V" in slip(bias, -38200.0)
    assert "V typed as mV" in slip(ht, 0.4312)
    assert "decimal point" in slip(ht, 43.1)
    assert slip(ht, 380.0) == ""
    assert slip(ladder().by_id["3/ht"], 5.0) == ""


def test_mains_at_the_moment() -> None:
    """10 V more mains, 4.35 % more of everything: -42.5 V is right then, and wrong at the sheet's own mains."""
    assert one("3/bias/left", "-42.5").verdict == "look first"
    assert one("3/bias/left", "-42.5", ", mains = 240").verdict == "go on"
    assert one("3/bias/left", "-42.5", top="mains = 240").verdict == "go on"
    # a rung at 30 %: the figure can be the dial's or the socket's
    assert one("3/early", "-11", ", mains = 69").verdict == "go on"
    assert one("3/early", "-11", ", mains = 230").verdict == "go on"
    wrong = one("3/early", "-11", ", mains = 120")
    assert (wrong.verdict, "set the dial" in wrong.why) == ("look first", True)


def test_the_stop_limit_is_not_moved_by_mains() -> None:
    assert one("4/ht", "451", ", mains = 240").verdict == "switch off now"


def test_another_meter() -> None:
    """Behind 220 kohm: -38.2 V on 10 Mohm is -39.04 V unloaded, and -32.0 V on 20 kohm/V x 50 V (Ohm's law)."""
    assert one("3/bias/left", "-32.0", ', meter = "20k"').verdict == "go on"
    assert one("3/bias/left", "-32.0").verdict == "look first"


def test_gates() -> None:
    text = '[readings]\n"3/bias/left" = "-38"\n"3/ht" = "0.0"\n'
    found = verdict(ladder(), parse_taken(text))
    assert (found.passed_to, found.stopped_at) == ("3", None)
    assert found.unread == ("4/ht", "4/lamp")
    assert found.ahead is None
    # a needed reading unread: no gate is passed, whatever comes after
    found = verdict(ladder(), parse_taken('[readings]\n"3/bias/left" = "-38"\n"4/ht" = "431"\n"4/lamp" = "dark"\n'))
    assert found.passed_to is None
    assert "3/ht" in found.unread
    assert "Rung 4 was read while rung 3 lacks a reading" in (found.ahead or "")
    found = verdict(ladder(), parse_taken(text + '"4/ht" = "470"\n"4/lamp" = "dark"\n'))
    assert (found.passed_to, found.stopped_at) == ("3", "4/ht")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[readings]\n"3/bias/leftt" = "1"', "r:2: 3/bias/leftt: no such reading.*try 3/bias/left"),
        ("x", "r:1: file"), ("mains = 118\n", r"no \[readings\]"), ("mains = -1\n[readings]\n", "r:1: mains = -1"),
        ('\nmeter = "blue"\n[readings]\n', "r:2: meter blue: not on this bench"),
        ('[readings]\n"3/ht" = { volts = 3 }', 'r:2: 3/ht: unknown key "volts"'), ("mans = 1\n[readings]", "try mains"),
        ('[readings]\n"3/ht" = "much"', 'r:2: 3/ht: "much" is not a reading'),
        ('[readings]\n"4/lamp" = "3"', "dark, dim, half, full"),
    ],
)  # fmt: skip
def test_bad_files(text: str, words: str) -> None:
    with pytest.raises(ReadingsError, match=words):
        verdict(ladder(), parse_taken(text, "r"))


def test_json_is_the_contract() -> None:
    import json
    from importlib.resources import files

    import jsonschema

    schema = json.loads(files("firstglow.schemas").joinpath("verdict.json").read_text())
    made = verdict(ladder(), parse_taken('[readings]\n"4/ht" = "470"\n')).json()
    jsonschema.validate(made, schema)
    items = json.loads(files("firstglow.schemas").joinpath("ladder.json").read_text())
    one_reading = {"$schema": items["$schema"], "$defs": items["$defs"], "$ref": "#/$defs/reading"}
    for row in ladder().readings():
        jsonschema.validate(row.json(), one_reading)


def test_twin_stop_sides_read_signed() -> None:
    below = replace(ladder().by_id["4/ht"], stop_below=Stop(50.0, "nothing comes"))
    assert below.json()["stop_below"] == 50.0


def test_every_mistake_of_a_readings_file_is_told_in_one_go() -> None:
    text = 'mans = 1\nmains = -1\n[readings]\n"3/hht" = "1"\n"3/ht" = "much"\n"4/lamp" = "3"\n"4/ht" = { value = "4", metre = 1 }\n'
    with pytest.raises(ReadingsError) as caught:
        verdict(ladder(), parse_taken(text, "r", later=True))
    lines = str(caught.value).splitlines()
    assert [line.split(":")[1] for line in lines] == ["1", "2", "4", "5", "6", "7"]
    with pytest.raises(ReadingsError) as caught:
        parse_taken(text, "r")
    assert len(str(caught.value).splitlines()) == 3


@pytest.mark.parametrize(("typed", "meant"), [("2oo", "200"), ("-3O.5", "-30.5"), ("2oomV", "200mV"), ("1o k", "10k")])
def test_a_letter_o_is_not_an_ohm(typed: str, meant: str) -> None:
    with pytest.raises(ReadingsError, match="letter o") as caught:
        typed_number(typed, None)
    assert str(caught.value).endswith(f"try {meant}")


def test_ohms_are_still_ohms() -> None:
    assert typed_number("2ohm", "ohm") == 2.0
    assert typed_number("0.5 ohms", "ohm") == 0.5


def test_a_slip_of_the_pen_is_said_before_any_part_is_blamed_unless_a_limit_is_passed() -> None:
    """Short of a stop the first words are what most likely happened; past one, what the figure would mean as typed: a
    bias of the wrong sign is a reversed rectifier until it is read again."""
    wrong = one("4/ht", "-431")
    assert wrong.why.startswith("Only the sign is wrong")
    bias = one("3/bias/left", "38.2")
    assert bias.verdict == "switch off now"
    assert bias.why.index("past the stop limit") < bias.why.index("only the sign is wrong")
    # 38 kV is on no range of any meter: it was not what the meter showed, and only the slip is left
    assert one("3/bias/left", "-38200").why.startswith("Is it mV typed as V?")
    # a thousandth is also what is left of a dead one: that is said first
    dead = one("4/ht", "0.4312").why
    assert dead.index("V typed as mV") > 0


def test_low_volts_that_follow_the_mains_ask_for_the_mains_first() -> None:
    """15 % low: a socket or a tap explains it before any winding does; not where they were read, nor for no volts."""
    asked = one("4/ht", "366")
    assert "230 V at the plug" in asked.check_first[0]
    assert asked.check_first[0] == one("4/ht", "366", top="mains = 230").check_first[0]
    assert not any("at the plug" in c for c in one("4/ht", "366", ", mains = 230").check_first)
    assert not any("at the plug" in c for c in one("4/ht", "20").check_first)


def test_millivolts_typed_as_volts_are_asked_at_a_grid_and_only_there() -> None:
    """5 V cannot be read on a 600 mV range (OL): so 5 mV may have been meant; the stop stands all the same."""
    grid = reading("6/V2 grid", expected=0.0012, low=-0.0002, high=0.0093, stop_above=Stop(0.4, "a leak"))
    grid = replace(grid, planned=replace(grid.planned, probe=replace(grid.planned.probe, red="V2 grid")))
    assert grid.on is not None and grid.on.full == pytest.approx(0.6)
    assert "mV typed as V" in slip(grid, 5.0)
    assert slip(grid, 0.5) == ""  # half a volt can be read there: it is what it is
    assert "20.0 mV would be outside the band" in slip(grid, 20.0)  # and short of the stop: it is asked
    assert slip(grid, 500.0) == ""  # half a volt is past the stop, whatever it was typed as
    assert slip(ladder().by_id["3/ht"], 5.0) == ""


def test_what_stands_where_nothing_may_is_the_fault_before_it_is_a_slip() -> None:
    """8.58 V at an output grid that 8.6 mV would suit: a leaking coupling capacitor first, a slip of the unit after it, past
    the stop and short of it."""
    leak = "4/HT is off"
    for value, answer in (("8.58", "switch off now"), ("0.12", "look first")):
        row = reading(leak, expected=0.004, low=-0.002, high=0.018, stop_above=Stop(5.0, "C9 leaks"))
        rung = ExpectedRung(PlannedRung("4", "4", FULL, "", (), (row.planned,), Hold(False, "")), (row,))
        alone = ExpectedLadder("Test", "0", 230.0, digital(), (rung,), by_id={row.id: row})
        found = verdict(alone, parse_taken(f'[readings]\n"{leak}" = "{value}"\n')).verdicts[0]
        assert (found.verdict, found.why.startswith(f"{row.text(float(value))} is")) == (answer, True)
        assert "Or a slip: is " in found.why


def test_one_mistyped_name_hides_no_danger() -> None:
    """The rest of the file is judged all the same: what must be switched off before the mistake, what goes on after it."""
    text = '[readings]\n"3/ht" = "0.0"\n"4/humm" = "3"\n"4/ht" = "470"\n"3/bias/left" = "-34"\n"4/lamp" = "dark"\n'
    with pytest.raises(ReadingsError) as caught:
        verdict(ladder(), parse_taken(text, "r"))
    lines = str(caught.value).splitlines()
    assert lines[0].startswith("r:4: 4/ht: 470: SWITCH OFF NOW: 470.0 V is past the stop limit 450.0 V")
    assert lines[0].endswith("; try off, plug out, make safe")
    assert lines[1].startswith("r:3: 4/humm: no such reading")
    assert lines[2].startswith("r:5: 3/bias/left: -34: LOOK FIRST")
    assert lines[3].startswith("r:1: readings: as expected, each by itself: 3/ht, 4/lamp;")
    assert all(line.count("; ") >= 2 and "; try " in line for line in lines)  # the form of every error (CONTRACTS.md)


def test_one_mistyped_name_leaves_every_comparison_in() -> None:
    """What is judged beside another reading is judged so beside a mistake as well: 120 and 108 V are 10 % apart, where halves
    of one winding are 5 % at most; 20 ohm cold and 30 warm are 0.5/0.00393 = 127 K, past any insulation."""
    rows = (
        reading("2b/HT1 leg 1/x", "ac volts", expected=115.0, low=100.0, high=130.0),
        reading(
            "2b/HT1 leg 2/x",
            "ac volts",
            expected=115.0,
            low=100.0,
            high=130.0,
            beside=Beside("halves", "2b/HT1 leg 1/x"),
        ),
        reading("2b/cold/x", "ohms", Situation(0.0), "ohms", expected=20.0, low=15.0, high=25.0),
        reading("2b/warm/x", "ohms", Situation(0.0), "warm ohms", expected=25.0, low=15.0, high=40.0),
    )
    rung = ExpectedRung(PlannedRung("2b", "2b", FULL, "", (), tuple(r.planned for r in rows), Hold(False, "")), rows)
    alone = ExpectedLadder("Test", "0", 230.0, digital(), (rung,), by_id={r.id: r for r in rows})
    lines = [f'"{r.id}" = "{typed}"' for r, typed in zip(rows, ("120", "108", "20", "30"), strict=True)]
    good = verdict(alone, parse_taken("\n".join(["[readings]", *lines]))).verdicts
    assert [v.verdict for v in good] == ["go on", "switch off now", "go on", "switch off now"]
    with pytest.raises(ReadingsError) as caught:
        verdict(alone, parse_taken("\n".join(["[readings]", *lines, '"2b/hum" = "1"']), "r"))
    told = str(caught.value).splitlines()
    assert [line.split(":")[1] for line in told] == ["3", "5", "6", "1"]
    assert (
        "SWITCH OFF NOW" in told[0]
        and "DO NOT GO ON" in told[1]
        and "as expected, each by itself: 2b/HT1 leg 1/x, 2b/cold/x;" in told[3]
    )
