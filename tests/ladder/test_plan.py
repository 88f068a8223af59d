"""The plan against the ladder reference, row by row and kind by kind. Rules are common practice unless marked.

Physics from the paper (``paper.py``): only what structure and closed forms give is compared.
"""

import json
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from on_paper import ladder_on_paper
from paper import PaperPhysics
from topologies import PLAIN, Choice, build, topology

from builders import Builder, push_pull_fixed
from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier, AmplifierError
from firstglow.ladder.gear import Gear
from firstglow.ladder.plan import frame_of, plan, plan_frame
from firstglow.ladder.spoken import Spoken
from firstglow.readings.probe import PlannedReading, PlannedRung
from winding_builders import primary, tapped, winding

ROOT = Path(__file__).parents[2]
EXAMPLES = sorted((ROOT / "examples").glob("[abc]-*.toml"))
SCHEMA = json.loads((ROOT / "src/firstglow/schemas/ladder.json").read_text(encoding="utf-8"))

# Row of the reference -> rung, what its ids look like, kind, by what it may be read, how many in example (a).
# "H/C" rows are by either: it depends on what stands within a slip.
ROWS: list[tuple[int, str, str, str, set[str], int]] = [
    (1, "0", r"earth bond", "ohms", {"none"}, 1),
    (2, "0", r"mains insulation", "ohms", {"clip"}, 1),
    (3, "0", r"primary( switch off)?", "ohms", {"none"}, 2),
    (4, "1", r"C\w+ charge", "dc volts", {"clip"}, 6),
    (5, "1", r"HT\d to (minus|HT1)", "ohms", {"none"}, 7),
    (6, "1", r"V\d plate to centre", "ohms", {"none"}, 4),
    (7, "1", r"V\d grid leak", "ohms", {"none"}, 4),
    (8, "1", r"V\d bias joint end \d", "ohms", {"none"}, 8),
    (8, "1", r"V\d bias joint smooth", "look", {"none"}, 4),
    (9, "1", r"V\d cathode", "ohms", {"none"}, 4),
    (10, "1", r"LS (load off|load on|hot to HT)", "ohms", {"none"}, 6),
    (11, "1", r"V\d turns to (centre|hot)", "ac volts", {"none"}, 8),
    (12, "2a", r"lamp at 30 %", "lamp", {"bench box"}, 1),
    (12, "2a", r"mains amps at 30 %", "ac amps", {"bench box"}, 1),
    (12, "2b", r"mains amps (at 65 %|at 100 %|after the wait)", "ac amps", {"bench box"}, 3),
    (13, "2a", r"V[1-8] heater pin to pin", "ac volts", {"one hand"}, 8),
    (13, "2b", r"T1 heat \d to chassis", "ac volts", {"one hand", "clip"}, 2),
    (14, "2a", r"V9 heater pin to pin", "ac volts", {"clip"}, 1),
    (15, "2a", r"HT1 leg \d", "ac volts", {"clip"}, 2),
    (15, "2b", r"HT1 leg \d", "ac volts", {"clip"}, 2),
    (16, "2b", r"bias raw winding", "ac volts", {"clip"}, 1),
    (17, "3", r"HT1 off", "dc volts", {"one hand", "clip"}, 1),
    (18, "2a", r"bias raw reservoir", "dc volts", {"one hand", "clip"}, 1),
    (18, "3", r"bias raw reservoir", "dc volts", {"one hand", "clip"}, 1),
    # one end of each control is its most negative, where row 20 reads the same grid in the same state, by the name of that end
    (19, "3", r"V\d grid end 2", "dc volts", {"one hand", "clip"}, 4),
    (20, "3", r"V\d grid at most negative", "dc volts", {"one hand", "clip"}, 4),
    (20, "3", r"V\d bias joint", "dc volts", {"one hand", "clip"}, 4),
    (21, "4", r"HT1 after (1|5|10) min", "dc volts", {"clip"}, 3),
    (22, "4", r"HT[234]", "dc volts", {"clip"}, 3),
    (23, "4", r"V\d plate", "dc volts", {"clip"}, 4),
    (24, "4", r"V\d screen", "dc volts", {"clip"}, 4),
    (25, "4", r"V\d (grid|cathode)", "dc volts", {"clip"}, 8),
    (25, "4", r"LS hot dc", "dc volts", {"clip", "one hand"}, 2),
    (26, "4", r"HT1 fall", "dc volts", {"clip"}, 1),
    (27, "5", r"V[1256] heater pin to pin", "ac volts", {"clip", "one hand"}, 4),
    (27, "6a", r"V[34] heater pin to pin", "ac volts", {"clip"}, 2),
    (28, "5", r"HT[1234]", "dc volts", {"clip"}, 4),
    (29, "5", r"V[15] (cathode|screen|plate)", "dc volts", {"clip", "one hand"}, 6),
    (30, "5", r"V[26][ab] (cathode|plate)", "dc volts", {"clip"}, 8),
    (30, "5", r"V[26]a grid to cathode", "dc volts", {"clip"}, 2),
    (31, "5", r"V\d coupling leak", "dc volts", {"clip"}, 4),
    (32, "5", r"V\d grid at most negative", "dc volts", {"clip"}, 4),
    (33, "5", r"V\d in the hand", "look", {"none"}, 4),
    (34, "6a", r"V[34] cathode lamp (in|out)", "dc volts", {"clip"}, 4),
    (34, "6b", r"V[78] cathode lamp (in|out)", "dc volts", {"clip"}, 4),
    (35, "6a", r"V\d grid through 1 Mohm", "dc volts", {"clip"}, 2),
    (36, "6a", r"(HT\d|V\d (plate|screen|screen drop))", "dc volts", {"clip"}, 10),
    (37, "6a", r"V\d cathode at half idle", "dc volts", {"clip"}, 2),
    (38, "6a", r"LS hum", "ac volts", {"one hand"}, 1),
    (39, "7", r"LS gain", "ac volts", {"one hand"}, 2),
    (40, "7", r"LS polarity", "ac volts", {"one hand"}, 2),
    (41, "8", r"LS (hum|gain)", "ac volts", {"one hand"}, 4),
    (41, "8", r"V\d cathode", "dc volts", {"clip"}, 4),
    (42, "9", r"V\d cathode after (10|30|60) min", "dc volts", {"clip"}, 12),
    (42, "9", r"V\d (plate|screen)", "dc volts", {"clip"}, 8),
    (43, "9", r"HT[12] ripple", "ac volts", {"clip"}, 2),
    (44, "10", r"primary warm", "ohms", {"none"}, 1),
    (45, "10", r"HT\d cold start", "dc volts", {"clip"}, 4),
]


def planned(amplifier: Amplifier, **gear: Any) -> dict[str, PlannedRung]:
    bench = Gear(gear.pop("mains_now", amplifier.mains_volts), **gear)
    return {rung.id: rung for rung in plan(amplifier, bench, PaperPhysics(amplifier))}


def ids(rungs: dict[str, PlannedRung]) -> list[str]:
    return [r.id for rung in rungs.values() for r in rung.readings]


def reading(rungs: dict[str, PlannedRung], name: str) -> PlannedReading:
    return next(r for rung in rungs.values() for r in rung.readings if r.id == name)


@pytest.fixture(scope="module")
def linden() -> dict[str, PlannedRung]:
    return planned(load(EXAMPLES[0]))


def by_kind(**choice: Any) -> Amplifier:
    """The plainest topology with some of its choices changed."""
    return build(replace(PLAIN, **choice), "By kind")


# ------------------------------------------------------------------------------------------ the reference's rows
@pytest.mark.parametrize(("row", "rung", "word", "kind", "contacts", "count"), ROWS)
def test_every_row_of_the_reference_is_there(
    linden: dict[str, PlannedRung], row: int, rung: str, word: str, kind: str, contacts: set[str], count: int
) -> None:
    found = [r for r in linden[rung].readings if re.fullmatch(word, r.id.split("/")[1])]
    assert len(found) == count, [r.id for r in linden[rung].readings]
    assert {r.probe.kind for r in found} == {kind}
    assert {r.contact for r in found} <= contacts


def test_no_row_of_the_reference_is_missing() -> None:
    assert {row for row, *_ in ROWS} == set(range(1, 46))


def test_rungs_and_holds_of_the_reference(linden: dict[str, PlannedRung]) -> None:
    assert list(linden) == ["0", "1", "2a", "2b", "3", "4", "5", "6a", "6b", "7", "8", "9", "10"]
    assert [r.id for r in linden.values() if r.hold.signed] == ["1", "3", "5", "7", "10"]
    for rung in linden.values():
        assert rung.hold.needs, rung.id


@pytest.mark.parametrize("path", EXAMPLES, ids=[p.name for p in EXAMPLES])
def test_documents_fit_the_schema_and_nothing_repeats(path: Path) -> None:
    _, document = ladder_on_paper(load(path))
    jsonschema.validate(document, SCHEMA)
    names = [r["id"] for rung in document["rungs"] for r in rung["readings"]]
    assert len(names) == len(set(names))
    cautions = [c for rung in document["rungs"] for c in rung["cautions"]]
    assert len(cautions) == len(set(cautions))
    twins = {r["id"]: r["twin"] for rung in document["rungs"] for r in rung["readings"] if r["twin"]}
    assert all(twins.get(twin) == name for name, twin in twins.items())


@pytest.mark.parametrize("path", EXAMPLES, ids=[p.name for p in EXAMPLES])
def test_ids_depend_on_the_amplifier_alone(path: Path) -> None:
    amplifier = load(path)
    plain = ids(planned(amplifier))
    others = [
        planned(amplifier, mains_now=0.93 * amplifier.mains_volts),
        planned(amplifier, meters=1),
        planned(amplifier, lamps=(25.0, 200.0)),
    ]
    assert all(ids(other) == plain for other in others)


def test_no_situation_above_the_socket(linden: dict[str, PlannedRung]) -> None:
    low = planned(load(EXAMPLES[0]), mains_now=212.0)
    assert max(r.situation.mains_volts for rung in low.values() for r in rung.readings) == 212.0
    assert low["2a"].situation.mains_volts == int(0.30 * 212)


def test_the_document_keeps_our_words_and_a_benchs_own_are_put_in_where_it_leaves() -> None:
    amplifier = load(EXAMPLES[0])
    _, document = ladder_on_paper(amplifier)
    theirs = Spoken({"valve": "tube", "plate": "anode", "ht": "B+", "chassis": "chassis"})

    def told(made: Any) -> list[str]:
        return [
            t for rung in made["rungs"]
            for t in (rung["title"], *rung["before"], *rung["cautions"], *rung["watch_for"], rung["hold"]["text"],
                      rung["wait_why"], rung["situation"]["text"], *(r["what"] for r in rung["readings"]),
                      *(c for r in rung["readings"] for c in r["check_first"]), *(r["red_at"] for r in rung["readings"]))
        ]  # fmt: skip

    assert not [
        t
        for t in told(document)
        if re.search(r"\b(tubes?|Tubes?|anodes?|Anodes?|B\+)(?!\w)", t) and "gas tube" not in t
    ]
    for text in told(theirs.document(document)):
        assert not re.search(r"\b(valves?|Valves?|plates?|Plates?|HT)\b", text), text


def test_every_text_is_used_and_every_used_text_is_there() -> None:
    """A key that no code names is dead; one that code names and the file lacks fails at the bench."""
    from firstglow.ladder.words import texts

    source = "".join(p.read_text(encoding="utf-8") for p in (ROOT / "src/firstglow/ladder").glob("*.py"))
    table = texts()
    assert {k for k in table["reading"] if f'"{k}"' not in source} == set()
    for name, step in re.findall(r'"(rung|reading|stands|kind)\.([a-z_.]+)"', source):
        here: Any = table[name]
        for key in step.split("."):
            assert key in here, f"{name}.{step}"
            here = here[key]


# ------------------------------------------------------------------------------------------ closed forms
def test_row_11_drives_no_plate_past_ten_volts() -> None:
    """Half of an 8 kohm primary on 8 ohm is 0.5 sqrt(8000/8) = 15.8 times the secondary: 0.5 V gives 7.9 V, as it is.
    A half of 63 times (a 5 kohm single-ended one on 4 ohm has 35) must be driven by less than 10/63 V."""
    common = reading(planned(push_pull_fixed()), "1/V2 turns to centre/shared")
    assert common.situation.stimulus_volts == 0.5
    high = replace(push_pull_fixed())
    t2 = high.parts["T2"]
    steep = tuple(
        replace(w, turns=replace(w.turns, value=w.turns.value * 4)) if w.role == "primary" else w for w in t2.windings
    )
    high = replace(high, parts={**high.parts, "T2": replace(t2, windings=steep)})
    halves = 4 * 0.5 * (6600 / 8) ** 0.5
    drive = reading(planned(high), "1/V2 turns to centre/shared").situation.stimulus_volts
    assert drive * halves <= 10.0 < 2 * drive * halves


def test_the_test_resistor_makes_a_loop_gain_of_at_most_a_fifth() -> None:
    """Black's arithmetic: a loop of gain 4 through its own 22 kohm needs 19 times that more: 418 kohm, so 470 kohm."""
    amplifier = push_pull_fixed()
    physics = PaperPhysics(amplifier, loop_gain=4.0)
    rungs = {r.id: r for r in plan(amplifier, Gear(230.0), physics)}
    polarity = reading(rungs, "7/loudspeaker polarity/shared")
    assert polarity.situation.test_ohms == 470e3
    assert physics.loop_gain(polarity.situation, None) <= 0.2
    assert polarity.stops[0].limit == 0.95
    assert polarity.id in rungs["7"].hold.needs


def test_a_loop_without_gain_is_not_tried_through_one_ohm() -> None:
    """Black's arithmetic: a loop gain of 0.04 leaves 0.96 of the output, and 0.95 and more proves nothing: the loop's
    sense is then a matter of cold phasing alone."""
    amplifier = push_pull_fixed()
    rungs = {r.id: r for r in plan(amplifier, Gear(230.0), PaperPhysics(amplifier, loop_gain=0.04))}
    assert not [r.id for rung in rungs.values() for r in rung.readings if r.probe.quantity == "gain ratio"]
    assert {n.split("/")[0] for n in rungs["7"].hold.needs if n.startswith("1/")} == {"1"}
    assert rungs["7"].hold.signed


# ------------------------------------------------------------------------------------------ refused
def live_chassis(b: Builder) -> None:
    b.wire("W9", "neutral", "chassis")


def series_heater(b: Builder) -> None:
    b.heater("V1", "12AX7", "line", "T1 heat 1", "T1 heat 2")


def autotransformer(b: Builder) -> None:
    b.diode("D1", "T1 primary 1", "HT1")


@pytest.mark.parametrize("spoil", [live_chassis, series_heater, autotransformer])
def test_sets_on_the_mains_get_no_plan(spoil: Callable[[Builder], None]) -> None:
    b = Builder("Refused")
    b.mains_side()
    b.transformer("T1", (primary(230.0, 9.0), *tapped("heat", 3.3, 0.03), winding("ht", "ht 1", "ht 2", 250.0, 50.0)))
    spoil(b)
    with pytest.raises(AmplifierError, match="the mains are joined"):
        planned(b.build())


def test_no_mains_transformer_gets_no_plan() -> None:
    b = Builder("Refused")
    b.mains_side(("chassis", "chassis"))
    with pytest.raises(AmplifierError, match="no mains transformer"):
        planned(b.build())


def test_topologies_cover_every_choice() -> None:
    """The 200 of the walk: each value of each choice comes up, so a clean walk says something about it."""
    seen: dict[str, set[Any]] = {}
    for seed in range(200):
        for name, value in vars_of(topology(seed)[0]).items():
            seen.setdefault(name, set()).add(value)
    assert {k: len(v) for k, v in seen.items()} == {
        "channels": 2, "rectifier": 6, "choke_input": 2, "output": 2, "valve": 4, "connection": 3, "bias": 7, "loop": 3,
        "heaters": 3, "standby": 2, "front": 3, "weak_capacitor": 2, "earth": 2, "mains": 2,
    }  # fmt: skip


def vars_of(choice: Choice) -> dict[str, Any]:
    return {name: getattr(choice, name) for name in choice.__dataclass_fields__}


def test_a_rung_that_is_not_there_is_named_with_those_that_are() -> None:
    from on_paper import expected_of

    from firstglow.ladder.ladder import chosen, document

    amplifier = push_pull_fixed()
    frame = frame_of(amplifier, Gear(230.0), PaperPhysics(amplifier))
    expected = expected_of(frame, plan_frame(frame))
    part = document(frame, expected, chosen(expected.rungs, "2", "4"))
    assert [r["id"] for r in part["rungs"]] == ["2a", "2b", "3", "4"]
    whole = {r["id"]: r for rung in document(frame, expected)["rungs"] for r in rung["readings"]}
    assert all(whole[r["id"]] == r for rung in part["rungs"] for r in rung["readings"])
    with pytest.raises(AmplifierError, match="rung 12: not on this ladder; one of 0, 1, 2a"):
        chosen(expected.rungs, None, "12")


def test_clips_go_on_as_many_at_once_as_there_are_meters(linden: dict[str, PlannedRung]) -> None:
    from firstglow.ladder.ladder import clip_groups

    for meters in (1, 2, 4):
        for rung in linden.values():
            numbered = list(zip(clip_groups(rung, meters), rung.readings, strict=True))
            groups = [g for g, _ in numbered if g is not None]
            assert groups == sorted(groups)
            for group in set(groups):
                mine = [r for g, r in numbered if g == group]
                # two clips that are on read the same two places again, minutes later, with the meter they belong to
                clipped = {(r.red_at, r.black_at, r.probe) for r in mine if r.contact == "clip"}
                # each probe held in one hand has a meter whose black stays where it was clipped with the power off
                held = {r.black_at for r in mine if r.contact == "one hand"}
                assert len(clipped) + len(held) <= meters
