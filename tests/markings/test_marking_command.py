"""``firstglow marking`` as a user meets it: JSON by its schema, 80 columns, exit codes (CONTRACTS.md)."""

import json
import subprocess
import sys

import jsonschema
import pytest
from click.testing import CliRunner

from firstglow import schemas
from firstglow.cli.main import main


@pytest.mark.parametrize("words", [
    "yellow violet orange gold", "104", "10m", "104K", "--write 4.7k 5%", "--write 0.1uF 10% 630V", "0.02 MFD 600 V",
    "brown black black red brown", "--as dots black green brown red yellow black", "black", "--write 10m", "--of inductor 4R7",
])  # fmt: skip
def test_json_and_width(words: str) -> None:
    run = CliRunner()
    document = json.loads(run.invoke(main, ["marking", *words.split(), "--json"], catch_exceptions=False).stdout)
    jsonschema.validate(document, schemas.load("marking"))
    assert (document["ask"] is None) == (len(document["meanings"]) == 1)
    text = run.invoke(main, ["marking", *words.split()], catch_exceptions=False).stdout
    assert text and max(map(len, text.splitlines())) <= 80
    for meaning in document["meanings"]:
        assert meaning["shown"][0].split(" = ")[0] in text


def test_written_marks_are_told() -> None:
    text = CliRunner().invoke(main, ["marking", "--write", "4.7k", "5%"]).stdout
    assert "yellow violet red gold" in text and "4K7J" in text


def test_no_marking_is_exit_2_in_one_line() -> None:
    for words in (["hello"], ["--write", "1234567", "ohm"], ["yellow", "vilet"], ["-20+80%"]):
        done = subprocess.run([sys.executable, "-m", "firstglow", "marking", *words], capture_output=True, text=True)
        assert (done.returncode, done.stdout) == (2, "")
        assert len(done.stderr.splitlines()) == 1 and "try" in done.stderr
