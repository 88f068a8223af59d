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
        (["standing", B, "--meter", "20k"], "--meter"),
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


def test_one_range_of_mains_for_standing_up_to_130_percent_and_one_for_the_ladder() -> None:
    """FILE.md 4, issue: mains to 130 % for the solver; EN 50160's 10 % over for a ladder."""
    assert run("standing", B, "--mains-now", "299", "--json").returncode == 0
    assert all("0 to 299 V" in run("standing", B, "--mains-now", v).stderr for v in ("300", "9999", "-3"))
    assert all("196 to 253 V" in run("ladder", B, "--mains-now", v).stderr for v in ("260", "9999", "20"))
