"""What each kind of amplifier or bench changes in the plan (section 6 of the ladder reference; common practice)."""

from paper import PaperPhysics
from test_plan import by_kind, ids, planned, reading

from builders import push_pull_fixed, single_ended_cathode
from firstglow.ladder.gear import Gear
from firstglow.ladder.plan import frame_of, plan_frame


def test_diode_fed_ht_is_opened_and_first_judged_below_sixty_volts() -> None:
    for rectifier in ("silicon", "bridge", "doubler"):
        amplifier = by_kind(rectifier=rectifier)
        frame = frame_of(amplifier, Gear(230.0), PaperPhysics(amplifier))
        rungs = {r.id: r for r in plan_frame(frame)}
        assert rungs["2a"].situation.lifted
        assert rungs["3"].situation.lifted == rungs["2a"].situation.lifted
        first = rungs["4a"]
        assert not first.situation.lifted
        assert first.situation.mains_volts <= 23.0
        joints = frame.physics.joints(first.situation)
        assert all(
            abs(joints[r.probe.red][0] - joints[r.probe.black][0]) < 60 for r in first.readings if r.probe.red in joints
        )
        assert {r.contact for r in first.readings if r.probe.kind == "dc volts"} == {"clip"}


def test_cathode_bias_has_stand_ins() -> None:
    rungs = planned(by_kind(bias="cathode"))
    assert not [r for r in rungs["3"].readings if "grid" in r.id]
    assert {"1/V3 cathode/shared", "1/V3 grid leak/shared", "1/V4 cathode/shared"} <= set(rungs["3"].hold.needs)
    proof = reading(rungs, "5/V3 grid/shared")
    assert [(s.rule, s.limit) for s in proof.stops] == [("zero", 0.1)]
    assert proof.id in rungs["5"].hold.needs
    assert "grid at most negative" not in " ".join(ids(rungs))


def test_shared_cathode_resistor_is_read_once_and_single_shares_by_half_primary() -> None:
    rungs = planned(by_kind(bias="cathode shared"))
    nine = [r.id.split("/")[1] for r in rungs["9"].readings]
    assert [n for n in nine if "cathode after 10" in n] == ["V3 cathode after 10 min"]
    assert [n for n in nine if "half primary drop after 10" in n] == [
        "V3 half primary drop after 10 min", "V4 half primary drop after 10 min",
    ]  # fmt: skip


def test_back_bias_is_proved_under_a_load_and_its_valves_go_in_together() -> None:
    rungs = planned(by_kind(bias="back", channels=2))
    assert "6" in rungs
    assert "6a" not in rungs
    loads = rungs["4b"].situation.loads
    assert list(loads) == ["HT raw"]
    assert {r.id.split("/")[1] for r in rungs["4b"].readings} >= {"V3 grid", "V4 grid"}
    assert any(n.startswith("4b/") for n in rungs["5"].hold.needs)
    assert any("CHASSIS" in line for line in rungs["4b"].before)


def test_no_pots_no_sweep_and_one_pot_for_all() -> None:
    none = planned(by_kind(bias="fixed no pot"))
    assert not [r for r in none["3"].readings if "end 1" in r.id]
    assert {"3/V3 grid at most negative/shared", "3/V4 grid at most negative/shared"} <= set(none["3"].hold.needs)
    one = planned(by_kind(bias="fixed one pot"))
    swept = [r for r in one["3"].readings if "grid end" in r.id or "most negative" in r.id]
    assert {r.situation.pots["P8"] for r in swept} == {0.0, 1.0}
    own = next(r for r in swept if "most negative" in r.id)
    assert own.what.endswith(f"P8 at end {1 + round(own.situation.pots['P8'])}")


def test_no_loop_and_a_loop_that_cannot_be_lifted() -> None:
    none = planned(by_kind(loop="none"))
    assert "8" not in none
    assert [r.id for r in none["7"].readings] == ["7/loudspeaker gain/shared"]
    assert sum(r.hold.signed for r in none.values()) == 4
    fixed = planned(by_kind(loop="fixed"))
    assert "8" not in fixed
    assert any("cannot be lifted" in line for line in fixed["6"].before)
    assert "1/V3 turns to hot/shared" in fixed["7"].hold.needs


def test_heater_lines_by_their_reference() -> None:
    lifted = planned(by_kind(heaters="lifted"))
    assert [r.id for r in lifted["4"].readings if r.id.endswith("dc/shared") and "heat" in r.id]
    assert not [r for r in lifted["2a"].readings if "to chassis" in r.id]
    assert len([r for r in planned(by_kind(heaters="hum pot"))["2a"].readings if "to chassis" in r.id]) == 2


def test_separate_cathode_rectifier_watches_the_heater_line() -> None:
    rungs = planned(by_kind(rectifier="separate"))
    line = [r for r in rungs["4"].readings if "heat" in r.id and r.id.endswith("dc/shared")]
    assert [s.rule for r in line for s in r.stops] == ["zero"]
    assert any("move" in text for text in rungs["4"].before)


def test_standby_is_proved_last() -> None:
    rungs = planned(by_kind(standby=True))
    assert all(
        not r.situation.switches_open for rung in rungs.values() for r in rung.readings if rung.id not in ("0", "10")
    )
    proof = next(r for r in rungs["10"].readings if "standby" in r.id)
    assert proof.situation.switches_open == {"S2"}


def test_single_ended_waits_longer_and_strapped_screens_are_not_read() -> None:
    single = planned(single_ended_cathode())
    assert single["9"].wait_seconds > planned(push_pull_fixed())["9"].wait_seconds
    assert "8" not in single
    strapped = planned(by_kind(connection="strapped"))
    assert reading(strapped, "1/V3 screen feed/shared").what.endswith("triode strap")


def test_without_a_variable_transformer_the_ladder_stands_on_lamps() -> None:
    amplifier = push_pull_fixed()
    rungs = planned(amplifier, variable_transformer=False, lamps=(40.0, 100.0, 150.0))
    assert {r.situation.mains_volts for name in ("2a", "2b", "4") for r in rungs[name].readings} == {230.0}
    assert {r.situation.lamp_watts for r in rungs["2a"].readings if r.probe.kind == "lamp"} == {40.0}


def test_a_meter_rated_too_low_ends_the_ladder_before_ht() -> None:
    amplifier = push_pull_fixed()
    rungs = planned(amplifier, meter_volts=300.0)
    assert list(rungs)[-1] == "3"
    assert not rungs["3"].hold.signed
    assert "300" in rungs["3"].hold.text
    assert not [r for r in rungs["2b"].readings if "leg" in r.id]
    assert [r for r in rungs["2a"].readings if "leg" in r.id]


def test_two_wire_sets_are_clipped_to_bench_earth() -> None:
    rungs = planned(by_kind(earth=False))
    assert any("bench earth" in line for line in rungs["0"].before)


def test_old_electrolytics_and_unknown_transformers_take_longer() -> None:
    amplifier = push_pull_fixed()
    rungs = planned(amplifier, old_electrolytics=True, unknown_transformer=True)
    assert rungs["2b"].wait_seconds == 3600.0
    assert rungs["4"].wait_seconds == 1800.0
    assert any("formed first" in line for line in rungs["4"].before)
