"""The bias supply designed again: divider, rectifier and RC by closed form, every proposal solved again from its own file."""

import json
import math
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner

import at_hand
from firstglow import schemas
from firstglow.amplifier import SituationError, load
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.audit import bias as room
from firstglow.audit.bias import Bias, design
from firstglow.audit.bias_checks import checks, ratings
from firstglow.audit.bias_parts import goes_with, network, with_rectifier
from firstglow.audit.bias_ranked import why_recommended
from firstglow.audit.bias_ready import crossed
from firstglow.audit.bias_search import around_values, curve, unit
from firstglow.audit.bias_trial import Column, Trial
from firstglow.cli.bias import command
from firstglow.cli.bias_lines import lines as _lines
from firstglow.markings.series import is_preferred
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.slow import Slow, Stretch

ROOT = Path(__file__).parent.parent.parent
A, B = ROOT / "examples" / "a-linden-twin.toml", ROOT / "examples" / "b-hazel-four.toml"
P1 = 'P1 = ["preset 25k 0.5W", "bias", "bias a", "foot a", { position = 0 }]'
P2 = P1.replace("P1", "P2").replace(" a", " b")
R20 = 'R20 = ["15k 0.5W 2%", "foot a", "chassis"]\n'
R21 = R20.replace("R20", "R21").replace(" a", " b")
WINDING = '{ bias = "46V 30m 55R", "bias 2" = "chassis" }'


@pytest.fixture(scope="module")
def made() -> tuple[Bias, float]:
    drawn, amplifier = load(A, as_="drawn"), load(A)
    start = processor_seconds()
    return design(drawn, amplifier), processor_seconds() - start


def processor_seconds() -> float:
    """This process's and its ended children's: what the steps cost, however busy the machine is with others."""
    t = os.times()
    return t.user + t.system + t.children_user + t.children_system


@pytest.fixture(scope="module")
def bias(made: tuple[Bias, float]) -> Bias:
    return made[0]


def edited(tmp_path: Path, *swaps: tuple[str, str]) -> Amplifier:
    return at_hand.edited(A.read_text(), tmp_path, *swaps)


# -- outside: closed forms -----------------------------------------------------------------------------------------------
def test_the_printed_divider(bias: Bias) -> None:
    """-75 V, 15k, a 22k trimmer, 33k to chassis: -58.9286 and -35.3571 V (the facts' worked bias divider: divider arithmetic).
    Four alike hang on one rail here, so a quarter of the 15k feeds them."""
    net = bias.trial.net
    values = {"R4 ohms": np.array([15e3 / 4])}
    for p in net.pots:
        values |= {f"{p.name} ohms": np.array([22e3]), f"{p.foot} ohms": np.array([33e3])}
    most, least = (75.0 * float(unit(net, values, t).wiper["left P1"][0]) for t in (0.0, 1.0))
    assert most == pytest.approx(58.9286, rel=5e-4)  # the wiper's own ohm beside 22k
    assert least == pytest.approx(35.3571, rel=5e-4)


def test_ends_and_middle_by_hand(bias: Bias) -> None:
    """As changed: R4 = 2k7 feeds four of 25k + 15k. By hand from the reservoir's volts; the whole amplifier agrees."""
    f = bias.now.found
    rail = f.raw * 10e3 / (10e3 + 2.7e3)
    by_hand = (rail, rail * 27.5 / 40.0, rail * 15.0 / 40.0)
    for valve, e in f.out.items():
        # electrolytics leak (5 Mohm), the pots' wipers have an ohm
        assert (e.most, e.middle, e.least) == pytest.approx(by_hand, rel=2e-3), valve


def test_the_guard_by_hand(bias: Bias) -> None:
    """A guard lies beside the upper part of the track: the weak end with 25k beside it, by hand."""
    p = next(x for x in bias.alternatives if "left R20 ohms" not in x.parts)
    guard, series = p.parts["left R31 ohms"], p.parts["R4 ohms"]
    top = 1.0 / (1.0 / 25e3 + 1.0 / guard)
    share = (15e3 / (top + 15e3)) * ((top + 15e3) / 4) / ((top + 15e3) / 4 + series)
    raw = bias.trial.circuit.solve(
        bias.trial.laid(
            [p.found.design], [Column(0, Situation(230.0, out=bias.trial.out, pots=bias.trial.placed("least")))]
        )
    ).dc("bias raw")[0]
    assert p.found.out["V3"].least == pytest.approx(raw * share, rel=2e-3)


def test_light_load_is_the_crest_less_the_drop(bias: Bias) -> None:
    """Lightly loaded half wave: sqrt 2 x rms - 0.7 V within 3 % (facts, capacitor-input theory); and it falls with load."""
    trial = bias.trial
    laid = trial.laid([{"R4 ohms": 1e9}], [Column(0, Situation(230.0, out=trial.out, pots=trial.placed("most")))])
    standing = trial.circuit.solve(laid)
    crest = math.sqrt(2.0) * abs(float(standing.ac("T1 bias 1")[0])) - 0.7
    assert -float(standing.dc("bias raw")[0]) == pytest.approx(crest, rel=0.03)
    rails = curve(trial, bias.now.found)
    assert (np.diff(rails.volts, axis=1) < 0.0).all()
    assert rails.volts[1, 0] == pytest.approx(crest, rel=0.03)


def test_the_arithmetic_and_the_amplifier_agree(bias: Bias) -> None:
    """What the search foretold of each proposal against its full solution: within 1 %."""
    net, rails = bias.trial.net, curve(bias.trial, bias.now.found)
    for p in bias.alternatives:
        of = unit(net, {k: np.array([v]) for k, v in p.found.design.items()}, 0.0)
        foretold = -float(rails.at(of.siemens)[1, 0] * of.wiper["left P1"][0])
        assert foretold == pytest.approx(p.found.out["V3"].most, rel=0.01)


def test_bias_comes_up_as_its_rc(bias: Bias) -> None:
    """Five times the filter capacitor: later by ohms x farads x ln 10 (nine tenths of an exponential). Ohms: R4 and the
    rectifier's own, beside the presets. 10 %: the rectifier's own ohms fall from the first pulse to the last."""
    trial, at = bias.trial, bias.now.ready
    assert at is not None and at.bias is not None and at.before_current is not None
    on = [Column(k, Situation(trial.mains[-1], pots=bias.now.found.positions)) for k in (0, 1)]
    course = Slow(trial.circuit).run([Stretch(4.0, trial.laid([{}, {"C5 farads": 500e-6}], on))])
    there = -0.9 * bias.now.found.high["V3 grid"]
    first, later = (crossed(course.seconds, -course.dc("V3 grid")[:, k] - there) for k in (0, 1))
    assert first == pytest.approx(at.bias, rel=0.02) and later is not None
    rails = curve(trial, bias.now.found)
    here = int(np.searchsorted(-rails.volts[1], -abs(bias.now.found.raw)))
    own = -np.diff(rails.volts[1])[here] / np.diff(rails.amps[1])[here]
    ohms = 1.0 / (1.0 / (2.7e3 + own) + 1.0 / 10e3)
    assert later - first == pytest.approx(ohms * 400e-6 * math.log(10.0), rel=0.10)
    assert at.before_current > 5.0  # an indirectly heated rectifier wants 10 s and more (common practice)


# -- what is proposed -------------------------------------------------------------------------------------------------------
def test_three_and_more_from_selenium_to_silicon(made: tuple[Bias, float]) -> None:
    bias, seconds = made
    assert bias.refused is None
    assert len(bias.alternatives) >= 3
    # of processors; asked: 5 s by the clock, which two share (docs/evidence/speed.md). The same work took 3.9 to 5.6 within a day
    assert seconds <= 8.0
    for p in bias.alternatives:
        assert p.good and p.fail_safe and p.found.settled
        assert all(i.reached for i in p.found.idle.values()) and p.found.room >= 0.03
        assert p.ready is not None and p.ready.before_current is not None and p.ready.before_current > 0.0
        for name, value in p.parts.items():
            assert is_preferred(value, "E24"), name
        for w in p.found.wipers:
            assert w.after < w.before and w.grids_fall and w.total < 1.0
    designs = [tuple(sorted(p.parts.items())) for p in bias.alternatives]
    assert len(set(designs)) == len(designs)


def test_one_is_recommended_the_coolest_with_a_preset_at_its_weak_end(bias: Bias) -> None:
    """A preset left at the weak end burns a valve; room for odd valves is 8 % of the travel at least. By the solved watts alone."""
    weak = [max(i.at_least_watts for i in p.found.idle.values()) for p in bias.alternatives if p.found.room >= 0.08]
    assert weak[0] <= min(weak) + 0.02 * 14.0  # the plate's limit; within its fiftieth they are alike
    text = "\n".join(_lines(bias))
    assert (
        text.count("RECOMMENDED") == 1 and "1. RECOMMENDED" in text and f"takes {weak[0]:.1f} W of 14 W allowed" in text
    )
    brief = text[text.index("Others that do") :]
    assert [f"  {n}. " in brief for n in range(2, len(bias.alternatives) + 1)] == [True] * (len(bias.alternatives) - 1)
    assert "idle reached" not in brief and "\n".join(_lines(bias, True)).count("idle reached") == len(bias.alternatives)


def test_each_network_comes_with_the_grid_leaks_that_its_valves_allow(bias: Bias) -> None:
    """100 kohm at a 6V6GT's grid with fixed bias (its sheet): what the network has under power, by hand of the published file, 2.2k of
    stopper and 82k are under it, and 0.27 uF keeps the 7.2 Hz of 0.1 uF and 220k."""
    drawn = next(c for c in bias.now.checks if c.what == "grid leak")
    assert drawn.as_drawn and not drawn.holds and "82 kΩ in its place keeps the limit" in drawn.text
    for p in bias.alternatives:
        assert {p.parts[f"{c} {r} ohms"] for c in ("left", "right") for r in ("R22", "R26")} == {82e3}
        assert p.parts["left C13 farads"] == 0.27e-6
        assert pytest.approx(0.1e-6 * 220e3, rel=0.01) == 0.27e-6 * 82e3
        foot, guard = p.parts.get("left R20 ohms", 15e3), p.parts["left R31 ohms"]
        rail = 1.0 / (
            1.0 / p.parts["R4 ohms"] + 4.0 / (1.0 / (1.0 / 25e3 + 1.0 / guard) + foot)
        )  # presets at their most
        half = 1.0 / (1.0 / (1.0 / (1.0 / 12.5e3 + 1.0 / guard) + rail) + 1.0 / (12.5e3 + foot))
        assert all(c.holds for c in p.checks if c.what == "grid leak")
        # the rectifier's own ohms, some hundred, are not in it
        assert p.found.grid_ohms["V3"] == pytest.approx(82e3 + 2.2e3 + half, rel=0.01)


def test_as_it_was_beside_as_changed(bias: Bias) -> None:
    """Selenium drops more than silicon, aged more than new (physics notes: a volt a plate new, doubling with age); a wiper
    that opens without a guard takes all bias away."""
    most = [bias.was[k].found.out["V3"].most for k in ("selenium, new", "selenium, aged")] + [
        bias.now.found.out["V3"].most
    ]
    assert most[2] < most[0] < most[1] < -40.0
    for p in (*bias.was.values(), bias.now):
        assert not p.fail_safe
        assert all(w.after > 3.0 * w.before for w in p.found.wipers)


def test_idle_to_set_by_hand(bias: Bias) -> None:
    """24 mA across 10 ohm drawn is 240 mV, across the 10.2 ohm measured 244.8 mV."""
    sense = bias.sense("V7")
    assert sense is not None
    assert (sense.nominal, sense.measured) == pytest.approx((0.240, 0.2448))
    idle = bias.now.found.idle["V7"]
    assert idle.cathode_volts == pytest.approx(0.2448, rel=1e-3)
    # HT1 less its own cathode, times plate current (cathode less screen): about 7.2 W of 14 (data sheet), in 50 to 70 %
    assert 0.5 < (idle.share or 0.0) < 0.7
    assert idle.low < idle.target < idle.high


@pytest.mark.parametrize("number", [0, 1])
def test_a_proposal_drawn_into_the_file(bias: Bias, tmp_path: Path, number: int) -> None:
    """Written into the amplifier file as a restorer would, loaded and solved afresh: the same ends, the same idle, and no
    wiper that opens raises the current of its valve, on any mains."""
    p = bias.alternatives[number].parts
    foot, guard = p.get("left R20 ohms", 15e3), p["left R31 ohms"]
    amplifier = edited(
        tmp_path,
        ('R4 = ["2k7 ', f'R4 = ["{p.get("R4 ohms", 2700.0):.0f}R '),
        (R20, R20.replace("15k", f"{foot:.0f}R") + f'R31 = ["{guard:.0f}R 0.5W 5%", "bias", "bias a"]\n'),
        (R21, R21.replace("15k", f"{foot:.0f}R") + f'R32 = ["{guard:.0f}R 0.5W 5%", "bias", "bias b"]\n'),
    )
    circuit = compile_circuit(amplifier)
    found = bias.alternatives[number].found
    out = frozenset({"V3", "V4", "V7", "V8"})
    pots = [f"{c} P{k}" for c in ("left", "right") for k in (1, 2)]

    def solve(*stands: tuple[Situation, tuple[Fault, ...]]) -> Any:
        return circuit.solve(np.stack([circuit.vector(s, f) for s, f in stands], axis=1))

    ends = solve(*((Situation(230.0, out=out, pots=dict.fromkeys(pots, at)), ()) for at in (0.0, 0.5, 1.0)))
    e = found.out["V3"]
    assert list(ends.dc("V3 grid")) == pytest.approx([e.most, e.middle, e.least], abs=0.02)
    turned = {name: found.turns[name] for name in pots}
    for mains in (207.0, 230.0, 253.0):
        s = Situation(mains, pots=turned)
        stood = solve((s, ()), *((s, (Fault(name, "wiper open"),)) for name in pots))
        for k, (pot, valve) in enumerate(zip(pots, ("V3", "V4", "V7", "V8"), strict=True), 1):
            row = stood.part(valve)
            amps = row["plate_amps"] + row["screen_amps"]
            assert amps[k] < amps[0], (pot, mains)
            assert stood.dc(f"{valve} grid")[k] < stood.dc(f"{valve} grid")[0]
            if mains == 230.0:
                assert amps[0] == pytest.approx(0.024, rel=2e-3)
                watts = (stood.dc(f"{valve} plate") - stood.dc(f"{valve} cathode"))[0] * row["plate_amps"][0]
                assert found.idle[valve].plate_watts == pytest.approx(watts, rel=5e-3)


def test_too_much_hum_asks_for_a_larger_filter(bias: Bias) -> None:
    """Ripple behind an RC filter goes as one over its farads: at two thirds of the hum the next standard value that is enough."""
    f = bias.alternatives[0].found
    was = max(f.hum.values())
    (better,) = room._quieter(bias.trial, [f], was / 1.5)
    assert better.design["C5 farads"] == 220e-6  # E6: 150 is not enough with a tenth to spare
    assert max(better.hum.values()) == pytest.approx(was * 100.0 / 220.0, rel=0.05)


def test_ratings_are_raised_where_they_are_passed(tmp_path: Path) -> None:
    """C4 of 63 V under some 71 V, R4 of 0.1 W under some 84 mW: as it stands both fail; proposed, the next made 100 V (a tenth
    to spare) and 0.25 W (half load: common practice)."""
    amplifier = edited(tmp_path, ('C4 = ["47u 100V"', 'C4 = ["47u 63V"'), ('"2k7 1W 5%"', '"2k7 0.1W 5%"'))
    trial = Trial(network(amplifier))
    (found,) = trial.run([{}])
    assert ratings(trial, found) == {"C4 volts": 100.0, "R4 watts": 0.25}
    standing = checks(trial, found, None, 1.0, {})
    failing = {c.what for c in standing if not c.holds and not c.as_drawn}
    assert failing == {"capacitor", "resistors", "wiper open"}
    proposed = checks(trial, found, None, 1.0, ratings(trial, found))
    assert {c.what for c in proposed if not c.holds and not c.as_drawn} == {"wiper open"}
    # dc of the winding: R4's, by its watts on high mains
    assert found.winding_amps == pytest.approx(math.sqrt(found.watts["R4"] / 2.7e3), rel=0.01)


# -- other networks -----------------------------------------------------------------------------------------------------------
def test_a_missing_foot_and_a_rheostat(tmp_path: Path) -> None:
    bare = edited(
        tmp_path, (P1, P1.replace("foot a", "chassis")), (P2, P2.replace("foot b", "chassis")), (R20, ""), (R21, "")
    )
    net = network(bare)
    first = net.pots[0]
    assert first.foot in net.added and net.added[first.foot].leads["2"] == "chassis"
    assert net.amplifier.parts["left P1"].leads["end 2"] == first.weak == net.added[first.foot].leads["1"]
    turned = edited(
        tmp_path,
        (P1, 'P1 = ["preset 25k 0.5W", "bias a", "foot a", "foot a", { position = 1 }]'),
        (R20, R20 + 'R51 = ["15k 0.5W 2%", "bias", "bias a"]\n'),
    )
    pots = {p.name: p for p in network(turned).pots}
    assert (pots["left P1"].foot, pots["left P1"].guard) == (
        "left R20",
        None,
    )  # an open wiper leaves the whole track in
    assert pots["left P2"].guard == "left R52"


def test_a_common_pot_with_balance_is_guarded_too(tmp_path: Path) -> None:
    """A balance pot is fed by its wiper: open, both grids lose their bias. As drawn that is found; a guard
    from the bias rail to either end cures it: 47k over the 100k that loads the end leaves two thirds of the rail (divider)."""
    amplifier = edited(
        tmp_path,
        (P1, P1.replace("bias a", "bias m")),
        (P2, 'P2 = ["preset 10k 0.5W", "bias a", "bias m", "bias b", { position = 0.5 }]'),
        (R21, 'R52 = ["100k 0.5W 5%", "bias a", "chassis"]\nR53 = ["100k 0.5W 5%", "bias b", "chassis"]\n'),
    )
    trial = Trial(network(amplifier))
    names = [b.name for b in trial.net.balances]
    assert names == ["left P2", "right P2"]
    guards = {f"{g} ohms": 47e3 for b in trial.net.balances for g in b.guards}
    guards |= {
        name: ohms for p in trial.net.pots for name, ohms in ((f"{p.guard} ohms", 100e3), (f"{p.foot} ohms", 4.3e3))
    }
    drawn, guarded = trial.run([{}, guards])
    by_pot = {w.pot: w for w in drawn.wipers}
    assert not by_pot["left P2"].safe and by_pot["left P2"].after > 3.0 * by_pot["left P2"].before
    assert {w.pot for w in guarded.wipers} == {"left P1", "right P1", *names}
    assert all(w.safe and w.after < w.before for w in guarded.wipers)
    rail = guarded.out["V3"].most
    opened = next(w for w in guarded.wipers if w.pot == "left P2")
    assert opened.grid < rail * 0.55


def test_guard_that_is_drawn_counts(tmp_path: Path) -> None:
    amplifier = edited(
        tmp_path,
        (R20, R20 + 'R51 = ["100k 0.5W 5%", "bias", "bias a"]\n'),
        (R21, R21 + 'R52 = ["100k 0.5W 5%", "bias", "bias b"]\n'),
    )
    trial = Trial(network(amplifier))
    (found,) = trial.run([{}])
    assert all(p.drawn_guard for p in trial.net.pots)
    assert all(w.safe for w in found.wipers)


def test_series_values_around() -> None:
    """E12 a decade either way of 2.7k, ends included: 25 values (IEC 60063)."""
    values = around_values(2700.0, "E12")
    assert len(values) == 25 and values[0] == 270.0 and values[-1] == 27e3
    assert 2700.0 in values and all(is_preferred(v, "E12") for v in values)


def test_json_and_table(bias: Bias, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(room, "design", lambda *_: bias)
    done = CliRunner().invoke(command, [str(A), "--json"])
    assert done.exit_code == 0, done.output
    document = json.loads(done.output)
    jsonschema.validate(document, schemas.load("bias"))
    assert [len(document[k]["range"]) for k in ("as_it_was", "as_changed")] == [4, 4]
    assert document["as_changed"]["parts"]["R4"] == 2700.0
    first = document["alternatives"][0]
    assert first["added"]["left R31"] == {"from": "bias", "to": "left bias a"}
    assert first["parts"]["left R31"] == bias.alternatives[0].parts["left R31 ohms"]
    assert all(a["wiper_open"]["fail_safe"] for a in document["alternatives"])
    assert document["recommended"]["alternative"] == 0 and "weak end" in document["recommended"]["why"]
    assert all(w["safe_bias_high_mains_volts"] < w["safe_bias_volts"] for w in document["wanted"])
    text = CliRunner().invoke(command, [str(A)]).output
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "As it was (selenium, aged)" in text and "from the preset's wiper to its negative end" in text
    assert "safe to touch" not in text
    assert "High voltage" in text


def test_rectifier_of_choice() -> None:
    """Silicon in the place of a drawn selenium, and the drawing's own selenium back in the place of silicon, aged."""
    drawn, amplifier = load(A, as_="drawn"), load(A)
    assert with_rectifier(drawn, drawn, "silicon").parts["D1"].type == "silicon"
    aged = with_rectifier(amplifier, drawn, "selenium aged").parts["D1"]
    assert (aged.type, aged.value("plates"), aged.value("age")) == ("selenium", 4.0, 1.0)
    with pytest.raises(SituationError, match="D1 is drawn as no selenium"):
        with_rectifier(amplifier, amplifier, "selenium new")


def test_each_page_says_for_which_rectifier_its_network_is() -> None:
    """Silicon drops some volts less than selenium (1 V against 1 V a plate and more): the networks are not each other's."""
    drawn, changed = load(A, as_="drawn"), load(A)
    own, tried = goes_with(drawn, None), goes_with(drawn, "silicon")
    assert "SELENIUM of D1" in own and "bias FILE --rectifier silicon" in own and "draw both in a changed layer" in own
    assert "SILICON ALONE in place of D1" in tried and "without --rectifier" in tried
    assert "D1" in goes_with(changed, None) and "SELENIUM" not in goes_with(changed, None)


def test_a_recommended_network_past_the_plate_s_limit_says_so(bias: Bias) -> None:
    """25.0 W allowed and 26.6 taken is 1.6 W past; within the limit nothing is said."""
    name, idle = next(iter(bias.alternatives[0].found.idle.items()))
    warm, best = (
        replace(p, found=replace(p.found, idle={name: replace(idle, at_least_watts=watts, limit=25.0)}))
        for p, watts in ((bias.alternatives[0], 26.6), (bias.alternatives[0], 24.9))
    )
    assert "PAST THE LIMIT" not in why_recommended(best, [warm])
    assert "PAST THE LIMIT by 1.6 W: none of these stays within it" in why_recommended(warm, [])
    assert "those within it leave less than 8 %" in why_recommended(warm, [best])
