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


GOOD = '"0/F1 fuse/shared" = "yes"\n"0/types/shared" = "yes"\n'


def test_the_last_line_names_every_stop_and_nothing_is_passed_then(tmp_path: Path) -> None:
    """9 V on a cathode resistor's grid and 900 V on the reservoir: both, in the order of the ladder, and no rung passed."""
    text = f'[readings]\n{GOOD}"4/HT1 after 10 min/shared" = "900"\n"5/V2 grid/shared" = "9"\n'
    told = run(tmp_path, text)
    last = " ".join(told.split("SWITCH OFF NOW: ")[-1].split())
    assert last == ("4/HT1 after 10 min/shared, 5/V2 grid/shared. Off, plug out, make safe before anything else.")
    assert "Passed to" not in told
    # what is as it should be is a line each, where something halts
    lines = told.splitlines()
    fuse = next(n for n, line in enumerate(lines) if "0/F1 fuse/shared = yes" in line)
    assert "0/types/shared = yes" in lines[fuse + 1]


def test_unplugged_there_is_nothing_to_switch_off_in_the_last_line(tmp_path: Path) -> None:
    told = run(tmp_path, '[readings]\n"0/cord and plug/shared" = "no"\n')
    last = " ".join(told.split()[-18:])
    assert last.endswith("DO NOT GO ON: 0/cord and plug/shared. Plug out, and it stays out until that is right.")
    assert "SWITCH OFF" not in told


def test_a_few_good_rows_say_what_they_were_held_to(tmp_path: Path) -> None:
    told = run(tmp_path, f"[readings]\n{GOOD}")
    assert told.count("yes, as expected") == 2
    assert "Passed to" in told
    beside = run(tmp_path, '[readings]\n"0/F1 fuse/shared" = "yes"\n"0/types/shared" = "no"\n')
    assert "LOOK FIRST" in beside and "no; yes is expected" in beside
    assert "yes, as expected" not in beside


def test_a_misspelt_answer_lets_nobody_go_on(tmp_path: Path) -> None:
    """ "ja" for a yes: what was read on rung 4 stood under the words GO ON, rungs 1 to 3 unread, in one line of 180 columns."""
    file = tmp_path / "today.toml"
    rows = '"0/cord and plug/shared" = "ja"\n"0/types/shared" = "yes"\n"4/HT1 after 1 min/shared" = "360"\n'
    file.write_text(f"[readings]\n{rows}", encoding="utf-8")
    done = CliRunner().invoke(command, [str(EXAMPLE), "--readings", str(file)])
    assert done.exit_code == 2
    assert "GO ON" not in done.output
    assert max(len(line) for line in done.output.splitlines() if str(file) not in line) <= 80
    told = " ".join(done.output.split())
    assert '"ja" is not an answer; yes, no; try yes or no, whichever it was' in told
    assert "Rung 4 was read while rung 0 lacks 6 of its readings" in told
    assert "as expected, each by itself: 0/types/shared, 4/HT1 after 1 min/shared" in told
    assert "no gate is passed" in told
