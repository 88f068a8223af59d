"""The ladder's words fit the amplifier and the bench that stand there (common practice: no word for a thing that is not
there). Texts of every example, published file and random topology, complete: what a rung and a row say, and why to stop."""

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
from oddities import ODDITIES, oddity
from paper import PaperPhysics
from topologies import topology

from at_hand import built
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.ladder.frame import Frame
from firstglow.ladder.gear import Gear
from firstglow.ladder.plan import frame_of, plan_frame
from firstglow.ladder.things import THINGS
from firstglow.ladder.words import Words, texts
from firstglow.readings.probe import PlannedRung
from structure import topologies as structures

EXAMPLES = Path(__file__).parents[2] / "examples"
FILES = sorted([*EXAMPLES.glob("[abc]-*.toml"), *EXAMPLES.glob("published/handbook-*.toml")])
SEEDS = range(20)


def absent(frame: Frame) -> Mapping[str, str]:
    """What may not be said of an amplifier or a bench, as patterns, by the thing that is not there. Found from the parts
    and roles alone."""
    a, outputs = frame.amplifier, frame.roles.outputs
    channels = {p.channel for p in a.parts.values() if p.channel}
    standing = {n for s in frame.negatives for n in (s.joint, *s.nodes)}
    wet = [p for p in a.of_kind("capacitor") if p.type == "electrolytic" and standing & set(p.leads.values())]
    rules = {
        "pot": (any(v.pot for v in outputs), r"(?<!um )\bpots?\b|\bpresets?\b|\bcontrols?\b|half idle|half its target"),
        "hum pot": (any(w.reference == "hum pot" for w in frame.roles.heater_windings), r"[Hh]um pot"),
        # cathode bias may say that it is that, and that there is no supply for it
        "bias": (any(v.bias != "cathode" for v in outputs), r"(?<!No )(?<!for a )\bbias\b"),
        "bias electrolytic": (bool(wet), "bias electrolytic"),
        "pair": (any(v.partner for v in outputs), r"\bpairs?\b|\bpartner\b|[Hh]alf (of the )?primary|\bhalves\b"),
        "channels": (len(channels) > 1, r"\b(left|right) [A-Z]|\b(left|right) channel|\bchannels?\b|\btwin\b"),
        "feedback": (bool(frame.roles.loops), r"\bloop\b|[Ff]eedback"),
        "a loop that lifts": (bool(frame.liftable), r"loop lifted|[Ff]eedback lifted|test resistor"),
        "choke": (bool(a.of_kind("choke")), r"\bchokes?\b"),
        "selenium": (any(p.type == "selenium" for p in a.of_kind("diode")), "[Ss]elenium"),
        "rectifier valve": (
            bool(a.of_kind("rectifier")),
            r"flash in the rectifier|rectifier of another|rectifier: its type|rectifier first|rectifier valve",
        ),
        "output transformer": (bool(a.of_kind("output transformer")), "[Oo]utput transformer|primary drop"),
        "ultralinear": (any(v.ultralinear for v in outputs), "[Uu]ltralinear"),
        "standby switch": (bool(frame.roles.standby), "[Ss]tandby"),
        "dial": (frame.gear.variable_transformer, r"\bdial|A variable transformer"),
    }
    return {thing: pattern for thing, (there, pattern) in rules.items() if not there}


def wrong(said: Iterator[str], frame: Frame) -> list[tuple[str, str]]:
    """Every text that names what is not there."""
    gone = absent(frame)
    return [(thing, text) for text in dict.fromkeys(said) for thing, rule in gone.items() if re.search(rule, text)]


def planned(rung: PlannedRung) -> Iterator[str]:
    """Every text of a planned rung."""
    yield from (rung.title, rung.stands, rung.wait_why, rung.hold.text)
    yield from (*rung.before, *rung.cautions, *rung.watch_for)
    for r in rung.readings:
        yield from (r.what, r.note_only, r.remark, r.stop_words, *r.check_first, *(s.why for s in r.stops))


NAMES = {"id", "red", "black", "red_at", "black_at", "channel", "twin", "name", "digest", "part", "joint", "needs"}


def strings(here: Any) -> Iterator[str]:
    """Every text of a ladder document, names of parts and joints apart."""
    if isinstance(here, str):
        yield here
    elif isinstance(here, list):
        for item in here:
            yield from strings(item)
    elif isinstance(here, dict):
        for key, item in here.items():
            if key == "situation":  # of data, only what it says in words
                yield str(item.get("text", ""))
            elif key not in NAMES and key not in (
                "order",
                "plug",
                "live",
                "moved_by",
                "contact",
                "amplifier",
                "drawing",
            ):
                yield from strings(item)


def check_plan(amplifier: Amplifier) -> None:
    for dial in (True, False):
        gear = Gear(amplifier.mains_volts, variable_transformer=dial)
        frame = frame_of(amplifier, gear, PaperPhysics(amplifier))
        said = (text for rung in plan_frame(frame) for text in planned(rung))
        assert not wrong(said, frame)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_word_for_what_is_not_there(seed: int) -> None:
    check_plan(topology(seed)[1])
    check_plan(structures.topology(seed)[1])


@pytest.mark.parametrize("kind", ODDITIES)
def test_no_word_for_what_is_not_there_in_an_odd_one(kind: str) -> None:
    check_plan(oddity(kind))


@pytest.mark.parametrize("path", FILES, ids=[p.name for p in FILES])
def test_the_whole_document_names_only_what_is_there(path: Path) -> None:
    """Numbers and all: why to stop, what separates, findings, how it stands, make safe."""
    made = built(load(path), mode="fast")
    assert not wrong(strings(made.document), made.frame)


def test_the_patterns_do_bite() -> None:
    """The same rules find such words where they are: an amplifier that has all of it, asked as one that has none."""
    _, amplifier = topology(0)
    frame = frame_of(amplifier, Gear(amplifier.mains_volts), PaperPhysics(amplifier))
    assert "selenium" in absent(frame)
    assert wrong(iter(["Selenium after years unused"]), frame) == [("selenium", "Selenium after years unused")]


def test_every_thing_that_the_texts_ask_for_is_known() -> None:
    """A thing with a slip in its name would be said never, or always: saying all texts with all and with no things."""

    def say(here: Any, words: Words) -> None:
        for item in here.values() if isinstance(here, dict) else here if isinstance(here, list) else ():
            say(item, words)
        if isinstance(here, str):
            for name in re.findall(r"<(?:no )?([a-z ]+): ", here):
                assert name in THINGS, here
            assert "<" not in re.sub(r"<(no )?[a-z ]+: [^<>]*>", "", here), here

    say(texts(), Words())


def test_the_cold_rung_says_that_a_bridged_part_may_hide_being_open() -> None:
    """3k3 open in parallel with about 100 ohms reads 100.6 instead of 97.6 ohms (Ohm's law): inside a 5 % band."""
    _, amplifier = topology(0)
    rungs = plan_frame(frame_of(amplifier, Gear(amplifier.mains_volts), PaperPhysics(amplifier)))
    assert any("Lift one lead" in line for rung in rungs for line in rung.before)


@pytest.mark.parametrize("seed", range(12))
def test_a_lamp_does_not_hold_unloaded_ht_down(seed: int) -> None:
    """At full mains nobody is told that it stays below 60 V there."""
    _, amplifier = topology(seed)
    gear = Gear(amplifier.mains_volts, variable_transformer=False)
    for rung in plan_frame(frame_of(amplifier, gear, PaperPhysics(amplifier))):
        if rung.situation.mains_volts >= amplifier.mains_volts:
            assert not [x for x in (*rung.before, *rung.cautions, rung.hold.text) if "below 60 V" in x], rung.id


def test_what_stands_after_switch_off_if_is_a_condition_and_a_nought_has_its_unit() -> None:
    """A technician: "Switch off also if: make safe again", "exchange plate leads" and "STOP IF not before each is below 1 V" are
    remedies, or read two ways; "near 0" of what?"""
    stops = {key: row["stop"] for key, row in texts()["reading"].items() if "stop" in row}
    assert len(stops) > 20
    orders = r"(make|exchange|turn|read|lift|discharge|take|not)\b"
    assert {key: text for key, text in stops.items() if re.match(orders, text)} == {}
    assert {key: text for key, text in stops.items() if re.search(r"\b0(?! [VmA])(?![\d.])", text)} == {}
