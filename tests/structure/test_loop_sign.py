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
