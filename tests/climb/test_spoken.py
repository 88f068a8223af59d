"""Words by choice: one setting in the bench file, and no word of the other vocabulary on any screen."""

import re
from functools import cache
from pathlib import Path

import pytest
from player import EXAMPLES, Clock, healthy, once

from at_hand import built, firstglow
from firstglow.amplifier import load, load_bench
from firstglow.cli.sitting import Sitting
from firstglow.cli.talk import Lines
from firstglow.ladder.climb import Climb
from firstglow.ladder.ladder import Ladder
from firstglow.ladder.spoken import OURS, Spoken
from firstglow.records.store import MemoryStore

B = EXAMPLES / "b-hazel-four.toml"
THEIRS = {"valve": "tube", "plate": "anode", "ht": "B+", "chassis": "ground"}
BENCH = 'format = 1\nwords = { valve = "tube", plate = "anode", ht = "B+", chassis = "ground" }\n'
# names that files use, not words: ids of readings
NAMES = re.compile(r"\d+[a-z]?/[^/\n<>]+/\w+")
# the metal box stays a chassis: only the joint that volts are read to is a bench's ground
BOX = r"(?<!the )(?<!a )(?<!bare )(?<!live-)(?<!\A)(?<!  )"
UNCHOSEN = re.compile(rf"\b(valves?|plates?|HT|{BOX}chassis)\b", re.IGNORECASE)
OUR_UNCHOSEN = re.compile(r"(?<!gas )\btubes?\b|B\+|\banodes?\b|\bground\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("bench") / "bench.toml"
    file.write_text(BENCH)
    return file


@cache
def ladder_of(file: Path) -> Ladder:
    return built(load(B), load_bench(file), mode="fast")


def screens(on: Ladder, words: dict[str, str]) -> list[str]:
    """Every screen of a whole healthy climb, why, help and a wrong figure at each kind of question too."""
    clock = Clock()
    climb = Climb(on, MemoryStore(), clock=clock)
    climb.begin()
    sitting, said, out = Sitting(climb, Lines()), Spoken(words).said, []
    while True:
        step = climb.step
        if step.kind == "done":
            return out
        out += [said(line) for line in sitting.screen(step)]
        if step.kind == "reading":
            sitting._why(step)
            out += [said(line) for line in sitting.screen(step)]
        sitting._said = []
        once(climb, clock, healthy)


def words_in(lines: list[str], pattern: re.Pattern[str]) -> set[str]:
    return {
        m[0] + " | " + line for line in lines for m in [pattern.search(NAMES.sub("", line))] if m and " ht " not in line
    }


def test_no_word_of_the_other_vocabulary_on_any_screen_of_a_climb(bench: Path) -> None:
    lines = screens(ladder_of(bench), THEIRS)
    assert len(lines) > 3000
    assert max(map(len, lines)) <= 80
    assert not words_in(lines, UNCHOSEN)
    assert any("B+" in line for line in lines)
    assert any("anode" in line for line in lines)


def test_nor_of_theirs_where_ours_are_chosen() -> None:
    from player import ladder

    assert not words_in(screens(ladder(), dict(OURS)), OUR_UNCHOSEN)


def lines_of(*words: str | Path) -> list[str]:
    return firstglow(*words).stdout.splitlines()


def test_the_ladder_its_sheet_the_check_and_the_verdict_say_it_too(bench: Path, tmp_path: Path) -> None:
    table = lines_of("ladder", B, "--quick", "--bench", bench)
    assert not words_in(table, UNCHOSEN)
    assert max(map(len, table)) <= 80
    lines_of("ladder", B, "--quick", "--bench", bench, "--html", tmp_path / "s.html")
    page = (tmp_path / "s.html").read_text(encoding="utf-8")
    text = re.sub(r"<style.*?</style>|<script.*?</script>|<[^>]*>", "\n", page, flags=re.DOTALL)
    assert not words_in(text.splitlines(), UNCHOSEN)
    assert not words_in(lines_of("check", B, "--bench", bench), UNCHOSEN)
    moved = lines_of("changed", B, "R12", "--bench", bench)
    assert not words_in(moved, UNCHOSEN)
    assert any("B+ on" in line for line in moved)  # the titles of rungs too
    readings = tmp_path / "r.toml"
    readings.write_text('[readings]\n"4/HT1 after 10 min/shared" = "250"\n"5/V1 plate/shared" = "300"\n')
    told = lines_of("verdict", B, "--readings", readings, "--bench", bench)
    assert not words_in(told, UNCHOSEN)
    assert any("5/V1 plate/shared" in line for line in told)  # what a readings file calls it stays


SENTENCES = (
    "Before a hand goes under the chassis, to lift a capacitor",
    "clips and tools are counted out of the chassis.",
    "Plug in, hands off the chassis, switch on",
    "firstglow never says that a chassis may be touched",
    "firstglow never says that the set is safe; whatever a\nchassis shows",
    "bench earth clip to bare chassis",
    "everything else OUT of the\n         chassis: tools, loose parts",
    "someone licensed for live-chassis sets",
)


@pytest.mark.parametrize("text", SENTENCES)
def test_a_bench_that_says_ground_still_has_a_metal_box(text: str) -> None:
    """ "Before a hand goes under the ground", "hands off the ground": nobody knows what to do."""
    assert Spoken(THEIRS).said(text) == text
    assert Spoken(THEIRS).page(f"<p>{text}</p>") == f"<p>{text}</p>"
    assert Spoken(THEIRS).document([text]) == [text]


def test_only_the_joint_is_the_ground_of_such_a_bench() -> None:
    said = Spoken(THEIRS).said
    assert said("black: chassis → red: V1 pin 6") == "black: ground → red: V1 pin 6"
    assert said("from HT plus to CHASSIS") == "from B+ plus to GROUND"
    assert said("that lead tied to\nchassis: the first stage") == "that lead tied to\nground: the first stage"


def test_columns_stay_and_names_are_no_words() -> None:
    said = Spoken(THEIRS).said
    assert said("a plate and 6/V2 plate/shared, HT1, T1 ht a: an HT of 3") == (
        "an anode and 6/V2 plate/shared, HT1, T1 ht a: a B+ of 3"
    )
    assert said("BLACK    chassis    next") == "BLACK    ground     next"
    assert said("OUTPUT VALVES IN. Plates glow") == "OUTPUT TUBES IN. Anodes glow"
    assert Spoken(OURS).said("plates of a valve") == "plates of a valve"
    assert Spoken(THEIRS).page('<p class="plate">plate</p><style>.plate{}</style>') == (
        '<p class="plate">anode</p><style>.plate{}</style>'
    )
