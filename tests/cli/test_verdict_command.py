"""`firstglow verdict` on the screen: for which meter, what halts, and what is left out."""

import json
from pathlib import Path

from click.testing import CliRunner

from firstglow.cli.verdict import command

EXAMPLE = Path(__file__).parents[2] / "examples" / "b-hazel-four.toml"


def run(tmp_path: Path, text: str, *options: str) -> str:
    """What it prints."""
    file = tmp_path / "today.toml"
    file.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(command, [str(EXAMPLE), "--readings", str(file), *options], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return done.output


def test_a_file_of_one_meter_is_judged_by_the_sheet_of_that_meter(tmp_path: Path) -> None:
    """With --meter or without: one answer."""
    text = 'meter = "20k"\n[readings]\n"0/F1 fuse/shared" = "yes"\n"4/HT1/shared" = "300"\n'
    text = text.replace("4/HT1/shared", "4/HT1 after 10 min/shared")
    told, same = run(tmp_path, text), run(tmp_path, text, "--meter", "20k")
    assert told == same
    assert "Judged for the meter 20k" in told
    assert json.loads(run(tmp_path, text, "--json"))["meter"] == "20k"


def test_figures_of_several_meters_are_told(tmp_path: Path) -> None:
    text = '[readings]\n"0/primary/shared" = "28"\n"4/HT1 after 10 min/shared" = { value = "300", meter = "20k" }\n'
    told = " ".join(run(tmp_path, text).split())
    assert "Judged for the meter digital" in told
    assert "What 20k read is brought to it, and held to the tighter stop" in told
