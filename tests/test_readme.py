"""The README's two set-up commands, as CONTRACTS.md lets other programs find and run them (.ci/run runs the second)."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
FENCES = re.findall(r"^```(\w*)\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)


def test_two_commands_of_one_line_each_before_any_other_fence() -> None:
    with_venv = [n for n, (kind, body) in enumerate(FENCES) if kind in {"", "sh"} and "venv" in body]
    assert with_venv == [0, 1]
    for _, body in FENCES[:2]:
        (line,) = body.splitlines()
        assert line.startswith("python3 -m venv .venv && ")
        assert "\\" not in line


def test_each_stands_alone_and_names_what_is_there() -> None:
    demo, tests = (body.strip() for _, body in FENCES[:2])
    assert demo.endswith(".venv/bin/firstglow demo")
    assert ".[test]" in tests
    assert tests.endswith("-m pytest")
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert "test" in project["optional-dependencies"]
    assert "firstglow" in project["scripts"]
    for file in re.findall(r"-c (\S+)", demo + " " + tests):
        assert (ROOT / file).is_file()


def test_what_ci_takes_is_the_second() -> None:
    """The pattern that .ci/run looks with, taken from it."""
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    pattern = re.search(r're\.findall\(r"(.*?)", text', script)
    assert pattern is not None
    blocks = re.findall(pattern[1].replace("\\n", "\n"), TEXT, re.DOTALL)
    lines = [line for block in blocks for line in block.splitlines() if "venv" in line]
    assert lines[:2] == [body.strip() for _, body in FENCES[:2]]
    assert "print(lines[1])" in script


def test_every_command_of_the_table_is_one() -> None:
    from firstglow.cli.main import VERBS

    named = re.findall(r"`firstglow (\w+)", TEXT)
    assert len(named) > 9
    assert set(named) <= set(VERBS)
