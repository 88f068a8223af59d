"""A rehearsal: a virtual amplifier, its meter, and a careful person; nothing here has high voltage."""

import json
import os
import pty
import select
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from at_hand import built, firstglow
from firstglow.amplifier import Fault, load
from firstglow.cli.rehearse import stopped
from firstglow.ladder import virtual
from firstglow.ladder.careful import Careful, Clock, Outcome, Taken
from firstglow.ladder.climb import Climb
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.virtual import Virtual, hidden_fault
from firstglow.records.record import Record
from firstglow.records.store import MemoryStore

EXAMPLES = Path(__file__).parents[2] / "examples"
A, B, C = (EXAMPLES / f"{n}.toml" for n in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty"))


HIDDEN: dict[tuple[int, int], tuple[Ladder, Fault]] = {}
SEEN: dict[tuple[int, str], tuple[Ladder, dict[str, Any]]] = {}


@cache
def ladder(file: Path, samples: int = 0) -> Ladder:
    return built(load(file), samples=samples) if samples else built(load(file), mode="fast")


def climbed(on: Ladder, *faults: Fault, seed: int = 1) -> tuple[Outcome, Careful]:
    clock = Clock()
    climb = Climb(on, MemoryStore(), clock=clock, ahead=False)
    climb.begin()
    person = Careful(climb, Virtual(on, faults, seed), clock)
    return person.run(), person


@pytest.mark.parametrize(
    ("file", "samples", "seed"),
    [(A, 0, 2), (B, 1000, 2), (B, 1000, 5), (C, 1000, 5)],
    ids=["a", "b learning", "another b learning", "c learning"],
)
def test_a_healthy_amplifier_is_climbed_to_the_top(file: Path, samples: int, seed: int) -> None:
    """Bands that learn hold a healthy amplifier too; OL rows between them disturb nothing."""
    on = ladder(file, samples)
    outcome, person = climbed(on, seed=seed)
    assert outcome.stopped_at is None, outcome.stopped_at
    assert person.climb.here.passed == tuple(r.id for r in on.expected.rungs)
    walk(person.climb.events)


@pytest.mark.parametrize(
    ("fault", "rung"),
    [
        (Fault("C5", "leaks", 500e3), "1"),
        (Fault("C5", "leaks", 60e6), "4"),
        (Fault("R12", "open"), "1"),
        (Fault("C5", "open"), "7"),
        (Fault("V2", "grid to cathode"), "6"),
    ],
    ids=str,
)
def test_a_fault_stops_it_where_a_meter_can_see_it_and_ends_made_safe(fault: Fault, rung: str) -> None:
    """A coupling capacitor that leaks half a megohm shows to an ohmmeter, 60 megohm only with HT on and the output valve
    out, an open one only by gain; a cathode resistor by cold ohms, a grid shorted to its cathode once the valve is in
    (common practice; LADDER.md 8)."""
    outcome, person = climbed(ladder(B), fault)
    assert outcome.stopped_at is not None
    assert outcome.stopped_at.reading.rung == rung
    assert not person.climb.here.powered
    walk(person.climb.events)


@pytest.mark.parametrize(
    ("fault", "word"),
    [
        (Fault("C5", "leaks", 500e3), "DO NOT GO ON"),  # an ohmmeter's finding, the plug out
        (Fault("V2", "grid to cathode"), "SWITCH OFF NOW"),
    ],
    ids=["unplugged", "under power"],
)
def test_what_stops_it_is_called_as_the_climb_calls_it(fault: Fault, word: str) -> None:
    found = climbed(ladder(B), fault)[0].stopped_at
    assert found is not None
    off = Taken(found.reading, found.text, replace(found.verdict, verdict="switch off now"), found.answered)
    assert found.reading.planned.under_power == (word == "SWITCH OFF NOW")
    assert stopped(off)[0].startswith(f"  ✗ {word}: ")


def walk(records: tuple[Record, ...]) -> None:
    """No hand goes in from power on to made safe; power never comes on twice without it; holds come before what they
    hold."""
    powered, readied = False, True
    for r in records:
        if r.event == "power":
            assert not powered, "the plug went in twice"
            powered = True
        elif r.event in ("ready", "change"):
            assert not powered, f"{r.event} under power at {r.rung}"
        elif r.event == "made safe":
            powered = False
    assert not powered
    assert readied
    signed = [r.rung for r in records if r.event == "sign"]
    first_power = next((i for i, r in enumerate(records) if r.event == "power"), len(records))
    assert not signed or first_power < len(records)


def test_what_was_wrong_is_gone_once_the_part_is_changed() -> None:
    outcome, person = climbed(ladder(B), Fault("C5", "open"))
    assert outcome.stopped_at is not None
    person.climb.change(["C5"])
    person.virtual = person.virtual.without(["C5"])
    assert person.run().stopped_at is None


def test_a_reading_that_comes_early_is_not_settled() -> None:
    """No HT before the rectifier is warm; at the types' warm-up time and after it, the settled figure."""
    on = ladder(B)
    virtual = Virtual(on, (), 2)
    name = "6/HT1/shared"
    at = on.expected.by_id[name].planned.situation
    read = [float(virtual.shows(name, t).rstrip("V")) for t in np.linspace(0.0, virtual.warm_seconds(at), 12)]
    assert read[0] == pytest.approx(0.0, abs=1.0)
    assert read == sorted(read)
    low, high = on.expected.by_id[name].low, on.expected.by_id[name].high
    assert low is not None and high is not None and low < read[-1] < high
    cathode = "6/V2 cathode lamp out/shared"
    assert float(virtual.shows(cathode, 1.0).rstrip("V")) < 0.5 * float(virtual.shows(cathode, 60.0).rstrip("V"))


def test_an_open_bleeder_leaves_the_charge_standing() -> None:
    """RC decay: with its bleeder open the HT falls slower than twice as slowly (example b's R3 stands alone across it)."""
    on = ladder(B)
    climb = climbed(on)[1].climb
    at = on.expected.by_id["4/HT1 after 1 min/shared"].planned.situation
    from firstglow.ladder.fall import fall

    falling = fall(climb.ladder.frame, [at])
    good, bad = Virtual(on, (), 2), Virtual(on, [Fault("R3", "open")], 2)
    seconds = falling.wait_seconds or 60.0
    assert good.left(falling, at, "C1a", seconds) <= falling.volts("C1a", seconds)
    assert falling.is_slow("C1a", bad.left(falling, at, "C1a", seconds), seconds)


def test_a_hidden_fault_is_one_that_some_reading_shows() -> None:
    on = ladder(B)
    found = [hidden_fault(on, seed) for seed in range(3)]
    for seed, fault in enumerate(found):
        assert Virtual(on, [fault], seed).alarms
    assert hidden_fault(on, 2) == found[2]


@pytest.fixture(autouse=True)
def hidden_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A command that hides a fault looks for one that shows: of one ladder and seed, once."""

    def at_hand(on: Ladder, seed: int) -> Fault:
        if (id(on), seed) not in HIDDEN:  # the ladder is held beside it: no other gets its number
            HIDDEN[id(on), seed] = on, hidden_fault(on, seed)
        return HIDDEN[id(on), seed][1]

    monkeypatch.setattr(virtual, "hidden_fault", at_hand)


@pytest.fixture(autouse=True)
def seen_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What one virtual amplifier of a ladder is, by its faults and its seed, worked out once: all that its meter reads. The noise of
    the meter begins anew for each."""
    really = Virtual.__init__

    def at_hand(one: Virtual, on: Ladder, faults: Sequence[Fault] = (), seed: int = 1) -> None:
        key = id(on), f"{list(faults)} {seed}"
        if key not in SEEN:  # the ladder is held beside it: no other gets its number
            really(one, on, faults, seed)
            SEEN[key] = on, {k: v for k, v in vars(one).items() if k not in ("_rng", "_falls")}
        one.__dict__.update(SEEN[key][1], _rng=np.random.default_rng(seed), _falls={})

    monkeypatch.setattr(Virtual, "__init__", at_hand)


def command(*words: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    return firstglow("rehearse", *words, typed=typed, code=None)


def test_auto_prints_events_that_can_be_walked() -> None:
    done = command(str(B), "--auto", "--quick", "--json", "--fault", "C5:leaks=60M")
    assert done.returncode == 0, done.stderr
    events = [json.loads(line) for line in done.stdout.splitlines()]
    assert events[0]["event"] == "begin"
    assert any(e["event"] == "switch off now" and e["reading"] == "4/V2 grid/shared" for e in events)
    assert events[-1]["event"] in ("made safe", "open")


def test_at_the_prompt_the_meter_is_beside_the_screen_and_enter_takes_it() -> None:
    done = command(str(B), "--quick", typed="\n" * 12 + "quit\n")
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("THE METER SHOWS") >= 4
    assert all(len(line) <= 80 for line in done.stdout.splitlines())
    assert "Nothing was wrong with this one" in done.stdout


def test_a_fault_that_no_reading_tells_is_said_to_be_one() -> None:
    """An output valve of half its emission that has emission to spare: nothing healthier about it than "in its band"."""
    done = command(str(B), "--auto", "--quick", "--fault", "V2:weak=0.5656854249492381")
    assert "The top: no reading was out of its band." in done.stdout
    told = " ".join(done.stdout.split())
    assert "What was wrong with it: V2:weak=0.566. It moves no reading of this ladder out of its band" in told
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


def test_who_leaves_is_told_what_was_hidden_only_on_asking() -> None:
    """A rehearser typed quit to go on another evening, and the fault stood there."""
    hidden = (str(B), "--quick", "--fault", "hidden", "--seed", "3")
    for typed in ("quit\n", "\nquit\n\n", "quit\nno\n"):
        left = command(*hidden, typed=typed)
        assert left.returncode == 0, left.stderr
        assert "Not told" in left.stdout
        assert "--seed 3" in left.stdout
        assert "What was hidden:" not in left.stdout
    assert "What was hidden:" in command(*hidden, typed="quit\ntell\n").stdout


def test_changed_says_that_it_works_at_a_terminal_and_nothing_in_a_pipe() -> None:
    assert firstglow("changed", B, "R7").stderr == ""
    words = [sys.executable, "-m", "firstglow", "changed", str(B), "R7"]
    ours, theirs = pty.openpty()
    with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=theirs) as process:
        os.close(theirs)
        assert select.select([ours], [], [], 60.0)[0]
        assert "Working out the ladder, and what the change moves" in os.read(ours, 4096).decode()
        process.kill()  # how it goes on and ends was looked at above
    os.close(ours)


def test_bad_input_is_told() -> None:
    assert command(str(B), "--fault", "C55:open").returncode == 2
    assert command(str(B), "--seed", "-1").returncode == 2


def test_the_other_channel_is_beside_what_is_read() -> None:
    from firstglow.cli.sitting import Sitting
    from firstglow.cli.talk import Lines

    on = ladder(A)
    clock = Clock()
    climb = Climb(on, MemoryStore(), clock=clock)
    climb.begin()
    person, sitting = Careful(climb, Virtual(on, (), 2), clock), Sitting(climb, Lines())
    while (climb.step.reading or "") != "5/V5 cathode/right":
        person.once()
    left = climb.here.taken["5/V1 cathode/left"].value
    assert f"BESIDE   left read {left}" in sitting.screen(climb.step)


def test_with_a_needle_a_careful_person_takes_a_digital_meter_where_the_sheet_says_so() -> None:
    on = built(load(B), meter="20k", mode="fast")
    clock = Clock()
    climb = Climb(on, MemoryStore(), clock=clock)
    climb.begin()
    outcome = Careful(climb, Virtual(on, (), 2), clock).run()
    assert outcome.stopped_at is None, outcome.stopped_at
    assert any(r.event == "meter" for r in climb.events)
    assert any(" on " in t.text for t in outcome.taken)


def test_a_changed_part_is_told_to_be_it_or_not_and_tell_tells() -> None:
    """R12 is open: another part changed is told to have been sound, R12 to have been it; what is typed beside the meter is
    taken with a word; `tell` is said at once, `quit` stands on the foot line."""
    done = command(str(B), "--quick", "--fault", "R12:open", typed="changed R3\nchanged R12\nchanged R12\nyes\nquit\n")
    text = " ".join(done.stdout.split())
    assert "R3 was sound: what is wrong with it is still there" in text
    assert "that was it: R12 is a good one now" in text
    assert text.index("R3 was sound") < text.index("that was it")
    assert "nothing was wrong with it any more" in text
    assert "changed PART quit" in text
    hidden = command(str(B), "--quick", "--fault", "hidden", "--seed", "3", typed="\ntell\nquit\n")
    assert "what is hidden:" in hidden.stdout
    other = command(str(B), "--quick", typed="\n" * 4 + "yes\n99.8\nquit\n").stdout
    assert "changed PART: a good one" in other


def test_a_figure_that_the_virtual_meter_does_not_show_is_taken_with_a_word() -> None:
    out = command(str(B), "--quick", typed="\n" * 6 + "99.8\n99.8\n99.8\nquit\n").stdout
    assert "taken as typed, 99.8: the virtual meter shows" in " ".join(out.split())
    assert all(len(line) <= 80 for line in out.splitlines())
