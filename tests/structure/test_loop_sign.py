"""Which way round a loop is: counted from the structure, against the solver's own loop gain and against counting by hand.

The solver's mid-band network (tests/solver/test_midband.py checks it against closed forms) knows nothing of the count.
"""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firstglow.amplifier import Amplifier, AmplifierError, load
from firstglow.amplifier.checks import check_structure
from firstglow.amplifier.drawn_loops import drawn_loops, positive_loops
from firstglow.amplifier.findings import findings
from firstglow.amplifier.look import look_at
from firstglow.amplifier.loop_sign import loop_sign
from firstglow.amplifier.situation import Situation
from firstglow.ladder.ladder import build
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.midband import midband
from firstglow.solver.slopes import valve_slopes
from structure.topologies import topology

ROOT = Path(__file__).parents[2]
LOOPED = (
    "examples/a-linden-twin.toml",
    "examples/b-hazel-four.toml",
    "examples/c-sorrel-twenty.toml",
    "examples/published/handbook-10w.toml",
    "examples/published/handbook-20w.toml",
)


def gains(amplifier: Amplifier) -> dict[str | None, float]:
    """Loop gain of each channel by the solver: positive for negative feedback."""
    circuit = compile_circuit(amplifier)
    situation = Situation(amplifier.mains_volts)
    standing = circuit.solve(circuit.vector(situation)[:, np.newaxis])
    found = midband(amplifier, situation, valve_slopes(circuit, standing.x, standing.values))
    return {channel: float(signal.loop_gain[0]) for channel, signal in found.items()}


def signs(amplifier: Amplifier) -> dict[str | None, int | None]:
    look = look_at(amplifier)
    return {loop.channel: loop_sign(look, loop) for loop in drawn_loops(look)}


def reversed_phase(text: str) -> str:
    return re.sub(r'in_phase = "([ab])"', lambda m: f'in_phase = "{"b" if m[1] == "a" else "a"}"', text)


@pytest.mark.parametrize("name", LOOPED)
def test_examples_count_as_the_solver_computes(name: str) -> None:
    amplifier = load(ROOT / name)
    found = gains(amplifier)
    assert signs(amplifier) == {channel: -1 if gain > 0 else 1 for channel, gain in found.items()}


@pytest.mark.parametrize("seed", [0, 3, 9, 12, 16, 44, 53])  # pair, coupled pair, split load, followers, single-ended
def test_topologies_count_as_the_solver_computes(seed: int) -> None:
    plan, amplifier = topology(seed)
    assert plan.loop in {"lifts", "foot"}
    found = gains(amplifier)
    assert all(gain > 0 for gain in found.values())
    assert signs(amplifier) == dict.fromkeys(found, -1)


@pytest.mark.parametrize("seed", range(0, 200, 2))
def test_a_secondary_the_other_way_round_is_a_positive_loop(seed: int) -> None:
    plan, amplifier = topology(seed)
    assert positive_loops(look_at(amplifier)) == []
    turned = {
        name: replace(
            p,
            windings=tuple(replace(w, start=w.end, end=w.start) if w.role == "secondary" else w for w in p.windings),
        )
        if p.kind == "output transformer"
        else p
        for name, p in amplifier.parts.items()
    }
    wrong = positive_loops(look_at(replace(amplifier, parts=turned)))
    looped = plan.loop in {"lifts", "fixed", "foot"}
    assert len(wrong) == (plan.channels if looped else 0)


BESIDE = {  # a second way from where the loop arrives to an output grid that passes fewer valves and next to nothing
    "examples/b-hazel-four.toml": 'R91 = ["10M 0.5W", "foot", "drive"]',
    "examples/c-sorrel-twenty.toml": 'R91 = ["10M 0.5W", "V1a cathode", "V2 grid"]\nR92 = ["22M 0.5W", "V1a cathode", "V3 grid"]',
}


@pytest.mark.parametrize("name", BESIDE)
def test_every_way_counts_by_what_it_passes(name: str) -> None:
    """By the nearest way alone such a file is refused as a howler; the solver, which knows no ways, has it negative."""
    text = (ROOT / name).read_text(encoding="utf-8")
    head = "R14 = [" if "hazel" in name else "R19 = ["
    amplifier = load(text.replace(head, f"{BESIDE[name]}\n{head}", 1))
    assert all(gain > 0 for gain in gains(amplifier).values())
    assert {s for c, s in signs(amplifier).items()} == {-1}
    with pytest.raises(AmplifierError, match="would howl"):
        load(reversed_phase(text.replace(head, f"{BESIDE[name]}\n{head}", 1)))


def test_a_local_loop_from_plate_to_grid_has_its_sign() -> None:
    """A valve turns the signal over from grid to plate: a resistor from its plate to its grid is negative feedback, one from
    the other plate of the pair is positive (common practice: how a multivibrator is wired). V2's grid here hangs on the split
    load's cathode: what is put in there goes on through that valve to its plate, 47 kohm, and so to V3's grid much larger
    than to V2's own (1/gm), by hand: the pair turns it round."""
    text = (ROOT / "examples/c-sorrel-twenty.toml").read_text(encoding="utf-8")
    for grid, plate, sign in (("V3", "V3", -1), ("V3", "V2", 1), ("V2", "V2", 1)):
        line = f'C91 = ["10n 630V film", "{plate} plate", "shunt"]\nR91 = ["1M 1W", "shunt", "{grid} grid"]\nR19 = ['
        look = look_at(load(text.replace("R19 = [", line, 1)))
        found = [x for x in drawn_loops(look) if x.kind == "plate" and "R91" in x.parts]
        assert {loop_sign(look, x) for x in found} == {sign}, (grid, plate, found)
        said = [line for line in findings(look.amplifier) if "positive" in line and "R91" in line]
        assert len(said) == (sign == 1), said
        if said:
            assert f"{plate} plate" in said[0] and "other plate" in said[0]


@pytest.mark.parametrize("name", LOOPED)
def test_a_stated_phase_that_howls_is_a_mistake_and_its_remedy_works(name: str) -> None:
    text = (ROOT / name).read_text()
    with pytest.raises(AmplifierError) as caught:
        load(reversed_phase(text), name=name)
    for problem in caught.value.problems:
        assert "positive" in problem.found and problem.part in {"T2", "T3"}
        lines = text.splitlines()
        assert any("output transformer" in line for line in lines[problem.line - 1 : problem.line + 3])
    (remedy,) = {p.remedy for p in caught.value.problems}
    mended = re.sub(r'in_phase = "[ab]"', remedy, reversed_phase(text))
    assert check_structure(load(mended, name=name)) == ()


@pytest.mark.parametrize("name", LOOPED)
def test_a_phase_that_is_not_stated_makes_the_loop_negative_and_is_listed(name: str) -> None:
    text = re.sub(r',? *in_phase = "[ab]"', "", (ROOT / name).read_text())
    amplifier = load(text, name=name)
    assert all(gain > 0 for gain in gains(amplifier).values())
    listed = {d.part: d for d in amplifier.defaults if d.what == "in_phase"}
    assert set(listed) == {p.name for p in amplifier.of_kind("output transformer")}
    assert all("proved on rung 7" in d.spread for d in listed.values())


def test_an_exchange_found_later_shows_though_no_phase_is_stated() -> None:
    """The drawing settles the phase; whoever exchanged the plate leads did not exchange the drawing."""
    text = re.sub(r',? *in_phase = "[ab]"', "", (ROOT / "examples/c-sorrel-twenty.toml").read_text())
    drawn = load(text)
    a, b = (next(t for t in drawn.joints[drawn.joint_of("T2", f"plate {h}")].terminals if t[0] == "V") for h in "ab")
    exchanged = f'{text}\n[[layer]]\nkind = "found"\nrejoin = {{ "{a}" = "T2 plate b", "{b}" = "T2 plate a" }}\n'
    found = load(exchanged, as_="found")
    assert signs(found) == {None: 1}
    assert gains(found)[None] < 0
    with pytest.raises(AmplifierError, match="it would howl"):  # no ladder for it, though its file may be read as found
        build(found)


@pytest.mark.parametrize("name", LOOPED[:3])
@pytest.mark.parametrize("word", ["nfb", "the loop", "feedback lead"])
def test_a_link_lifts_its_loop_whatever_it_is_called(name: str, word: str) -> None:
    """Same structure, other name: the same lead, the same tie, the same answers."""
    text = (ROOT / name).read_text()
    plain, named = load(text), load(text.replace('link = "feedback"', f'link = "{word}"'))

    def of(amplifier: Amplifier) -> list[tuple[str, str, str | None]]:
        return [(k.part, k.lead, k.tie) for k in amplifier.links.values() if k.feedback]

    assert of(named) == of(plain) and of(plain)
    assert gains(named) == pytest.approx(gains(plain), rel=1e-9)
    circuits = [compile_circuit(x) for x in (plain, named)]
    at = [Situation(x.mains_volts, feedback="open") for x in (plain, named)]
    dc = [
        c.solve(c.vector(s)[:, np.newaxis]).dc(plain.joint_of(of(plain)[0][0], "2"))
        for c, s in zip(circuits, at, strict=True)
    ]
    assert dc[0] == pytest.approx(dc[1], rel=1e-9)


def test_the_lead_on_the_loudspeaker_side_is_lifted_however_the_part_is_written() -> None:
    text = (ROOT / "examples/c-sorrel-twenty.toml").read_text()
    turned = text.replace('"T2 8", "V1a cathode", { link = "feedback" }', '"V1a cathode", "T2 8", { link = "nfb" }')
    assert turned != text
    (link,) = [k for k in load(turned).links.values() if k.feedback]
    assert (link.part, link.lead, link.tie) == ("R19", "2", "chassis")


def test_a_link_elsewhere_is_no_feedback_link() -> None:
    amplifier = load(ROOT / "examples/c-sorrel-twenty.toml")
    assert {k.name: k.feedback for k in amplifier.links.values()} == {"HT link": False, "feedback": True}
    assert amplifier.links["HT link"].tie is None


def test_a_link_that_leaves_another_way_does_not_lift_the_loop() -> None:
    text = (ROOT / "examples/c-sorrel-twenty.toml").read_text()
    beside = text.replace("R19 = [", 'R91 = ["15k", "T2 8", "V1a cathode"]\nR19 = [', 1)
    assert [k.name for k in load(beside).links.values() if k.feedback] == []


def test_a_loop_that_only_the_solution_shows_to_add_gets_no_ladder(monkeypatch: pytest.MonkeyPatch) -> None:
    """Counting valves is left out here: the gain through the test resistor must refuse the ladder by itself."""
    monkeypatch.setattr("firstglow.ladder.plan.positive_loops", lambda look: [])
    monkeypatch.setattr("firstglow.amplifier.checks.positive_loops", lambda look: [])
    howler = load(reversed_phase((ROOT / "examples/b-hazel-four.toml").read_text()))
    with pytest.raises(AmplifierError, match=r"T2: the loop .* would howl"):
        build(howler, mode="fast", samples=50)


def test_check_says_which_way_round_a_loop_is_that_cannot_be_counted(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Counting is left out here: the solver's loop gain, the second route, must say which it is and where to swap."""
    from firstglow.cli.check import found_in

    monkeypatch.setattr("firstglow.amplifier.findings.loop_sign", lambda look, loop: None)
    monkeypatch.setattr("firstglow.amplifier.drawn_loops.loop_sign", lambda look, loop: None)
    text = (ROOT / "examples/b-hazel-four.toml").read_text(encoding="utf-8")
    (good,) = (line for line in found_in(load(text)) if "loop" in line)
    assert "computed" in good and "is negative" in good and "cannot be counted" in good
    (bad,) = (line for line in found_in(load(reversed_phase(text))) if "loop" in line)
    assert "is positive" in bad and "would howl" in bad and "in_phase" in bad and "plate leads" in bad
