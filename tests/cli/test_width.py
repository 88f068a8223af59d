"""No line of a screen is wider than 80 characters (a terminal's usual width: common practice); counted as characters."""

from pathlib import Path

import pytest

from at_hand import firstglow

ROOT = Path(__file__).parents[2]
EXAMPLES = [str(p.relative_to(ROOT)) for p in sorted((ROOT / "examples").glob("[abc]-*.toml"))]
A, B = EXAMPLES[0], EXAMPLES[1]


def wide(*words: str) -> list[str]:
    done = firstglow(*words, quick=True)
    assert done.stdout.strip()
    return [line for line in (done.stdout + done.stderr).splitlines() if len(line) > 80]


@pytest.mark.parametrize("words", [("demo",), ("valves",), ("valves", "6V6GT"), ("valves", "GZ34")], ids=" ".join)
def test_without_a_file(words: tuple[str, ...]) -> None:
    assert wide(*words) == []


@pytest.mark.parametrize("file", EXAMPLES)
@pytest.mark.parametrize("verb", [("check",), ("ladder", "--quick"), ("standing",), ("narrow",)], ids=" ".join)
def test_of_an_example(verb: tuple[str, ...], file: str) -> None:
    assert wide(*verb, file) == []


def test_a_rehearsal_and_a_change() -> None:
    assert wide("rehearse", B, "--auto", "--seed", "3") == []
    assert wide("changed", B, "R14") == []


def test_a_verdict(tmp_path: Path) -> None:
    taken = tmp_path / "readings.toml"
    taken.write_text('mains = 228\n[readings]\n"4/HT1 after 10 min/shared" = "300"\n"1/R14 own ends/shared" = "97.6"\n')
    assert wide("verdict", B, "--readings", str(taken)) == []
