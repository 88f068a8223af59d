"""What the command line itself refuses: PART: found; allowed; try REMEDY, exit 2, and the remedy works (CONTRACTS.md)."""

import re
import shlex
import subprocess

import pytest

from at_hand import firstglow

B = "examples/b-hazel-four.toml"


def run(*words: str) -> subprocess.CompletedProcess[str]:
    return firstglow(*words, code=None)


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["valves", "EL8"], "EL8"),
        (["valves", "ZZZ"], "ZZZ"),
        (["check", B, "--as", "bogus"], "--as"),
        (["demo", "--meter", "20k"], "--meter"),
        (["standing", B, "--load", "dumy"], "--load"),
        (["chek", B], "chek"),
        (["check"], "FILE"),
        (["marking"], "TEXT"),
        (["changed", B], "PARTS"),
        (["verdict", B], "--readings"),
        (["ladder", B, "--from"], "--from"),
        (["check", B, B], B),
        (["ladder", B, "--mains-now", "0"], "--mains-now"),
        (["ladder", B, "--mains-now", "x"], "--mains-now"),
    ],
)
def test_the_form(words: list[str], part: str) -> None:
    done = run(*words)
    assert (done.returncode, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert re.fullmatch(rf"firstglow( \w+)?: {re.escape(part)}: [^;]+; .+; try .+", line), line
    assert not re.search(r"Invalid value|No such|Traceback", line)


@pytest.mark.parametrize(
    "words", [["valves", "EL8"], ["valves", "6V6GTY"], ["chek"], ["check"], ["marking"], ["changed", B]]
)
def test_the_remedy_works(words: list[str]) -> None:
    remedy = shlex.split(run(*words).stderr.rsplit("; try ", 1)[1])
    assert remedy[0] == "firstglow"
    assert run(*remedy[1:], *(["--help"] if words == ["chek"] else [])).returncode == 0


A = "examples/a-linden-twin.toml"


@pytest.mark.parametrize(
    "words",
    [
        ["parts", A, "X9"],
        ["incoming", A, "X9"],
        ["reform", A, "X9"],
        ["changed", A, "X9"],
        ["discharge", A, "--open", "X9"],
    ],
)
def test_a_word_that_is_no_part_is_told_alike_everywhere(words: list[str]) -> None:
    done = run(*words)
    where = "--open" if "--open" in words else "PART"
    assert done.returncode == 2 and done.stdout == ""
    assert re.fullmatch(
        rf"firstglow: {where}: 'X9' is no part here; a part of the file by its name; try V?C?\d\n", done.stderr
    )


@pytest.mark.parametrize("verb", ["parts", "bias", "start", "mains", "standing", "ladder"])
def test_mains_that_cannot_be_read_are_told_alike_everywhere(verb: str) -> None:
    assert run(verb, A, "--mains-now", "x").stderr.startswith(
        "firstglow: --mains-now: 'x' cannot be read; a value in V"
    )


def test_a_can_is_all_its_sections_for_every_command() -> None:
    """C3 is drawn as one can of two sections."""
    assert {"C3a:", "C3b:"} <= set(run("parts", A, "C3").stdout.split())
    assert all(name in run("incoming", A, "C3").stdout for name in ("C3a", "C3b"))
    assert "C3a or C3b" in run("standing", A, "--fault", "C3:open").stderr
    done = firstglow("changed", A, "C3", quick=True)
    assert "C3 changed." in done.stdout and "read at a joint of C3" in done.stdout


def test_one_range_of_mains_for_standing_up_to_130_percent_and_one_for_the_ladder() -> None:
    """FILE.md 4, issue: mains to 130 % for the solver; EN 50160's 10 % over for a ladder."""
    assert run("standing", B, "--mains-now", "299", "--json").returncode == 0
    assert all("0 to 299 V" in run("standing", B, "--mains-now", v).stderr for v in ("300", "9999", "-3"))
    assert all("196 to 253 V" in run("ladder", B, "--mains-now", v).stderr for v in ("260", "9999", "20"))


def test_a_fault_of_a_part_that_is_not_there_is_answered_with_one_that_can_be() -> None:
    """No valve has a mode "open": the nearest part's own, the asked one where it has it."""
    said = run("standing", B, "--fault", "V3x:dead").stderr
    assert re.search(r'try --fault "V\w+:dead"', said)
