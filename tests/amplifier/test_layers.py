"""Layers: found, measured and changed lie over what is drawn, and each value remembers where it came from."""

from pathlib import Path

import pytest

from firstglow.amplifier import Amplifier, AmplifierError, load
from firstglow.amplifier.bench import load_bench

ROOT = Path(__file__).parents[2]
B = (ROOT / "examples" / "b-hazel-four.toml").read_text(encoding="utf-8")
A = (ROOT / "examples" / "a-linden-twin.toml").read_text(encoding="utf-8")


def layered(*layers: str, base: str = B, as_: str = "changed", **more: object) -> Amplifier:
    return load(base + "".join(f"\n[[layer]]\n{x}\n" for x in layers), as_=as_, **more)  # type: ignore[arg-type]


def line_of(text: str, word: str) -> int:
    return next(n for n, line in enumerate(text.split("\n"), 1) if word in line)


def test_the_example_as_drawn_found_and_changed() -> None:
    drawn, found, changed = (load(A, as_=x) for x in ("drawn", "found", "changed"))
    assert drawn.layers == ("drawn",)
    assert found.layers == ("drawn", "measured")
    assert changed.layers == ("drawn", "measured", "changed")
    assert (drawn.parts["D1"].type, found.parts["D1"].type, changed.parts["D1"].type) == (
        "selenium",
        "selenium",
        "silicon",
    )
    assert drawn.parts["right R25"].value("ohms") == 10.0
    for a in (found, changed):
        r = a.parts["right R25"].values["ohms"]
        assert r.value == 10.2
        assert r.origin.layer == "measured"
        assert r.origin.line == line_of(A, '"right R25" = ')
        assert 0 < r.spread < drawn.parts["left R24"].values["ohms"].spread
    assert changed.parts["D1"].values["amps"].origin.layer == "changed"
    assert changed.parts["D1"].values["amps"].origin.line == line_of(A, "set = { D1")
    assert drawn.parts["left R24"].values["ohms"].origin.layer == "drawn"
    assert drawn.parts["left R24"].values["ohms"].origin.line == line_of(A, 'R24 = ["470R')
    assert drawn.digest != found.digest != changed.digest


def test_a_measured_value_narrows_exactly_what_it_should() -> None:
    plain, measured = load(B), layered('kind = "measured"\nset = { R12 = "183R" }')
    moved = {
        (p.name, k)
        for p in plain.parts.values()
        for k, q in p.values.items()
        if (q.value, q.spread, q.shape) != (lambda o: (o.value, o.spread, o.shape))(measured.parts[p.name].values[k])
    }
    assert moved == {("R12", "ohms")}
    was, now = plain.parts["R12"].values["ohms"], measured.parts["R12"].values["ohms"]
    assert now.value == 183.0
    assert 0 < now.spread < was.spread
    assert list(plain.joints) == list(measured.joints)


def test_never_to_zero_and_as_the_meter_says() -> None:
    bench = load_bench('format = 1\n[meters.good]\nresistance = "0.1% + 2"\n[meters.poor]\nresistance = "2% + 5"\n')
    spreads = [
        layered(f'kind = "measured"\nmeter = "{m}"\nset = {{ R12 = "183R" }}', meters=bench.accuracies())
        .parts["R12"]
        .values["ohms"]
        .spread
        for m in ("good", "poor", "nobody's")
    ]
    assert 0 < spreads[0] < spreads[2] < spreads[1]
    own = layered('kind = "measured"\nuncertainty = "0.3%"\nset = { R12 = "183R" }').parts["R12"].values["ohms"].spread
    assert own == pytest.approx(0.003)
    text = layered('kind = "measured"\nset = { R12 = "183R ±0.2%" }').parts["R12"].values["ohms"].spread
    assert text == pytest.approx(0.002)
    with pytest.raises(AmplifierError):
        layered('kind = "measured"\nset = { R12 = "183R ±0%" }')


def test_measured_windings_keep_what_was_not_measured() -> None:
    plain = load(B).parts["T1"]
    ohms = layered('kind = "measured"\nset = { "T1 ht" = "191+200R" }').parts["T1"]
    assert [w.ohms.value for w in ohms.windings][1:3] == [191.0, 200.0]
    assert ohms.windings[1].ohms.spread < plain.windings[1].ohms.spread
    assert ohms.windings[0] == plain.windings[0]
    volts = layered('kind = "measured"\nset = { "T1 ht" = "264-0-265V open" }').parts["T1"]
    assert [w.turns.value for w in volts.windings][1:3] == [264.0, 265.0]
    assert volts.windings[1].ohms.value == 190.0
    assert volts.windings[1].amps is not None
    assert volts.windings[1].turns.spread < plain.windings[1].turns.spread


def test_a_winding_that_measures_what_is_drawn_is_measured_all_the_same() -> None:
    plain = load(B).parts["T1"].windings[1]
    ohms = layered(f'kind = "measured"\nset = {{ "T1 ht" = "{plain.ohms.value:.6g}+200R" }}').parts["T1"].windings[1]
    assert ohms.ohms.spread == 0.015 < plain.ohms.spread
    assert (ohms.turns.value, ohms.turns.spread) == (plain.turns.value, plain.turns.spread)
    opened = 'kind = "measured"\nset = { "T1 ht" = "264-0-265V open" }'
    twice = layered(opened, opened.replace("kind", 'uncertainty = "0.4%"\nkind')).parts["T1"].windings[1]
    assert twice.turns.spread == 0.004


def test_volts_measured_under_an_unknown_load_are_asked_about() -> None:
    with pytest.raises(AmplifierError, match="open"):
        layered('kind = "measured"\nset = { "T1 ht" = "264-0-265V" }')


def test_add_remove_and_rejoin() -> None:
    a = layered(
        'kind = "changed"\nadd = { R40 = ["220k", "HT3", "chassis"] }',
        'kind = "changed"\nremove = ["R3"]',
        'kind = "changed"\nrejoin = { "R10 2" = "V2 cathode" }',
    )
    assert a.parts["R40"].leads == {"1": "HT3", "2": "chassis"}
    assert a.parts["R40"].origin.layer == "changed"
    assert "R3" not in a.parts
    assert a.joint_of("R10", "2") == "V2 cathode"
    assert a.joint_of("R12", "2") == "chassis"
    drawn = load(B, as_="drawn")
    assert drawn.joint_of("R10", "2") == "chassis"


def test_rejoining_a_valve_pin_leaves_the_rest_of_the_joint_together() -> None:
    a = layered('kind = "changed"\nrejoin = { "V2 grid" = "chassis" }')
    assert a.joint_of("V2", "grid") == "chassis"
    assert a.joint_of("R11", "2") == "R11 2"


def test_layers_reach_into_channels() -> None:
    a = layered(
        'kind = "changed"\nadd = { "channel R40" = ["1M", "V3 grid", "bias"], "left R41" = ["1k", "in", "chassis"] }',
        base=A,
    )
    assert a.parts["left R40"].leads == {"1": "V3 grid", "2": "bias"}
    assert a.parts["right R40"].leads == {"1": "V7 grid", "2": "bias"}
    assert a.parts["left R40"].twin == "right R40"
    assert a.parts["left R41"].leads["1"] == "left in"
    both = layered('kind = "changed"\nset = { R24 = "1k 2W" }', base=A)
    assert both.parts["left R24"].value("ohms") == both.parts["right R24"].value("ohms") == 1000.0
    one = layered('kind = "changed"\nset = { "right R24" = "1k 2W" }', base=A)
    assert (one.parts["left R24"].value("ohms"), one.parts["right R24"].value("ohms")) == (470.0, 1000.0)


def test_another_part_does_not_inherit_the_old_ones_ratings() -> None:
    a = layered('kind = "changed"\nset = { R12 = "220R" }')
    assert a.parts["R12"].value("ohms") == 220.0
    assert "watts" not in a.parts["R12"].values
    assert a.parts["R12"].values["ohms"].spread == 0.10  # the table's own, not the old part's 5 %


def test_another_valve_brings_its_heater() -> None:
    a = layered('kind = "found"\nset = { V3 = "EZ81" }')
    assert a.parts["V3"].type == "EZ81"
    assert a.parts["V3 heater"].type == "EZ81"
    assert a.parts["V3 heater"].value("amps") == 1.0  # EZ81: 6.3 V, 1 A (Philips data, memory)
    assert load(B).parts["V3 heater"].value("amps") == 0.6  # EZ80: 6.3 V, 0.6 A


def test_a_measurement_of_a_changed_part_is_not_of_the_found_one() -> None:
    layers = ('kind = "changed"\nset = { R12 = "220R" }', 'kind = "measured"\nset = { R12 = "218R", R13 = "99R" }')
    found = layered(*layers, as_="found")
    assert found.parts["R12"].value("ohms") == 240.0
    assert found.parts["R13"].value("ohms") == 99.0
    assert layered(*layers).parts["R12"].value("ohms") == 218.0


def test_a_measurement_of_an_added_part_is_passed_over_as_found() -> None:
    layers = ('kind = "changed"\nadd = { R40 = ["1k", "HT3", "chassis"] }', 'kind = "measured"\nset = { R40 = "998R" }')
    assert "R40" not in layered(*layers, as_="found").parts
    assert layered(*layers).parts["R40"].value("ohms") == 998.0


def test_a_mistake_in_a_layer_is_one_whatever_is_asked_for() -> None:
    for as_ in ("drawn", "found", "changed"):
        with pytest.raises(AmplifierError):
            layered('kind = "changed"\nset = { R99 = "1k" }', as_=as_)


def test_dates_may_be_dates() -> None:
    assert (
        layered('kind = "found"\nwhen = 2026-02-03\nwho = "me"\nset = { R12 = "190R" }').parts["R12"].value("ohms")
        == 190.0
    )
