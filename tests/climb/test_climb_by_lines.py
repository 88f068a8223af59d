"""``firstglow climb`` from a pipe: lines, events, and everything that may be wrong with the records."""

import json
import os
import subprocess
from pathlib import Path

import jsonschema
import pytest
from fast_clock import climb_fast
from player import EXAMPLES

from firstglow import schemas

B = EXAMPLES / "b-hazel-four.toml"
RUNG_0 = ["", "yes", "yes", "yes", "0.02", "OL", "28.3", "OL", "yes"]


def run(*words: str | Path, answers: list[str] | None = None, code: int = 0) -> subprocess.CompletedProcess[str]:
    text = "".join(f"{a}\n" for a in answers or [])
    return climb_fast(*words, "--quick", typed=text, code=code)


def events(path: Path) -> list[str]:
    return [json.loads(line)["event"] for line in path.read_text(encoding="utf-8").splitlines()]


def test_screens_from_a_pipe_and_where_it_ends(tmp_path: Path) -> None:
    records = tmp_path / "r.jsonl"
    done = run(B, "--records", records, answers=[*RUNG_0, "", "0.0", "safe"])
    assert events(records)[:12] == ["begin", "ready", *["go on"] * 8, "pass", "open"]
    assert max(len(line) for line in done.stdout.splitlines() if str(records) not in line) <= 80
    assert "MAKE SAFE" in done.stdout
    assert "go on with --resume" in done.stdout
    # and nothing of it is lost
    again = run(B, "--records", records, "--resume", answers=["quit"])
    assert "MAKE SAFE" in again.stdout


def test_a_row_left_past_its_stop_is_told_by_the_next_sitting(tmp_path: Path) -> None:
    """Quit on an earth bond of 0.4 ohm (0.1 at most): the next sitting showed a clean screen."""
    records = tmp_path / "r.jsonl"
    left = run(B, "--records", records, answers=["", "yes", "yes", "yes", "0.4", "quit"])
    assert "DO NOT GO ON" in left.stdout
    again = " ".join(run(B, "--records", records, "--resume", answers=["quit"]).stdout.split())
    assert "Past its stop when the last sitting ended: rung 0, protective earth" in again
    assert ", 0.4: " in again
    assert "It does not go on until this reads right." in again
    # read again, and right: nothing of it is left
    run(B, "--records", records, "--resume", answers=["0.02", "quit"])
    assert "last sitting" not in run(B, "--records", records, "--resume", answers=["quit"]).stdout


def test_json_is_one_event_a_line(tmp_path: Path) -> None:
    schema = schemas.load("climb")
    done = run(
        B,
        "--records",
        tmp_path / "r.jsonl",
        "--json",
        answers=[*RUNG_0, "", "why", "nonsense", "0.0", "safe", "", "9.1"],
    )
    found = [json.loads(line) for line in done.stdout.splitlines()]
    for event in found:
        jsonschema.validate(event, schema)
    asked = [e for e in found if e["event"] == "ask"]
    assert {"at", "event", "rung", "reading", "value", "verdict"} <= set(asked[0])
    reading = next(e for e in asked if e["reading"] == "0/primary/shared" and e["data"]["kind"] == "reading")
    assert reading["data"]["low"] < reading["data"]["expected"] < reading["data"]["high"]
    assert any("is not a reading" in e["why"] for e in asked)
    assert [e["data"]["phase"] for e in asked if e["data"].get("phase")][:2] == ["off", "prove"]
    assert [e["event"] for e in found if e["event"] != "ask"] == events(tmp_path / "r.jsonl")


def test_begun_twice_without_resume(tmp_path: Path) -> None:
    records = tmp_path / "r.jsonl"
    run(B, "--records", records, answers=[""])
    kept = records.read_bytes()
    done = run(B, "--records", records, answers=[""], code=2)
    assert "--resume" in done.stderr
    assert done.stdout == ""
    assert records.read_bytes() == kept
    assert "try it without --resume" in run(B, "--records", tmp_path / "none.jsonl", "--resume", code=2).stderr
    assert not (tmp_path / "none.jsonl").exists()


def test_records_edited_by_hand_are_named_and_mended(tmp_path: Path) -> None:
    records = tmp_path / "r.jsonl"
    run(B, "--records", records, answers=[*RUNG_0, ""])
    kept = records.read_text(encoding="utf-8")
    assert '"28.3"' in kept
    records.write_text(kept.replace('"28.3"', '"29.3"'), encoding="utf-8")
    done = run(B, "--records", records, "--resume", code=2)
    assert f"{records}:8: line 8: " in done.stderr
    assert "try --mend" in done.stderr
    done = run(B, "--records", records, "--resume", "--mend", answers=["quit"])
    assert "put back as it was written" in done.stderr
    assert records.read_text(encoding="utf-8").startswith(kept)
    # without its copy the line is void, what it said is asked again, and what was found is kept
    records.write_text(kept.replace('"28.3"', '"29.3"'), encoding="utf-8")
    Path(f"{records}.copy").unlink()
    done = run(B, "--records", records, "--resume", "--mend", answers=["quit"])
    assert "void" in done.stderr
    assert "void line" in events(records)
    assert Path(f"{records}.found-2").read_text(encoding="utf-8") == kept.replace('"28.3"', '"29.3"')


def test_records_cut_in_half_come_back(tmp_path: Path) -> None:
    records = tmp_path / "r.jsonl"
    run(B, "--records", records, answers=[*RUNG_0, ""])
    kept = records.read_bytes()
    records.write_bytes(kept[: len(kept) // 2])
    done = run(B, "--records", records, "--resume", answers=["quit"])
    assert "put back" in done.stderr
    assert records.read_bytes().startswith(kept)


def test_a_file_changed_between_sittings_asks_again_only_what_it_moved(tmp_path: Path) -> None:
    file, records = tmp_path / "b.toml", tmp_path / "r.jsonl"
    file.write_text(B.read_text(encoding="utf-8"), encoding="utf-8")
    cold = ["", "0.0", "0.0", "0.0", "209k", "209k", "270"]
    run(file, "--records", records, answers=[*RUNG_0, *cold])
    file.write_text(
        file.read_text(encoding="utf-8").replace('R1 = ["270R 5W 5%"', 'R1 = ["330R 5W 5%"'), encoding="utf-8"
    )
    done = run(file, "--records", records, "--resume", "--json", answers=["quit"])
    assert "changed since the last sitting: 1 reading(s)" in done.stderr
    repeat = next(json.loads(line) for line in records.read_text().splitlines() if '"repeat"' in line)
    assert repeat["data"]["readings"] == ["1/HT2 to HT1/shared"]
    # and after that it is the file that these records were made on
    assert "changed" not in run(file, "--records", records, "--resume", answers=["quit"]).stderr


def test_the_records_of_another_amplifier_are_named_first(tmp_path: Path) -> None:
    """Their 230 V on a primary of 120 V was told as a wrong tap, "try the tap marked for 230 V": never a word of that."""
    records = tmp_path / "r.jsonl"
    run(B, "--records", records, answers=[""])
    kept = records.read_bytes()
    done = run(EXAMPLES / "c-sorrel-twenty.toml", "--records", records, "--resume", code=2)
    told = " ".join(done.stderr.split())
    assert f"{records}: these records are of Hazel Four, and c-sorrel-twenty.toml is Sorrel Twenty" in told
    assert "try --records c-sorrel-twenty.climb.jsonl" in told and "tap" not in told
    assert records.read_bytes() == kept


def test_mains_of_another_tap_are_not_carried_over(tmp_path: Path) -> None:
    """The file put right, 120 V where it had said 230: the records' 230 V at the socket are not put on that primary."""
    file, records = tmp_path / "b.toml", tmp_path / "r.jsonl"
    file.write_text(B.read_text(encoding="utf-8"), encoding="utf-8")
    run(file, "--records", records, answers=[""])
    text = file.read_text(encoding="utf-8").replace('mains = "230V 50Hz"', 'mains = "120V 60Hz"')
    file.write_text(text.replace('primary = "230V 28R"', 'primary = "120V 7R"'), encoding="utf-8")
    done = run(file, "--records", records, "--resume", answers=["quit"])
    assert "The amplifier file changed since the last sitting" in done.stderr and "tap" not in done.stderr


def test_from_a_rung(tmp_path: Path) -> None:
    records = tmp_path / "r.jsonl"
    run(B, "--records", records, answers=[*RUNG_0, "", "0.0"])
    assert "try --from 1" in run(B, "--records", records, "--resume", "--from", "4", code=2).stderr
    assert "no such rung" in run(B, "--records", records, "--resume", "--from", "77", code=2).stderr
    run(B, "--records", records, "--resume", "--from", "0", answers=["quit"])
    last = json.loads(records.read_text(encoding="utf-8").splitlines()[-2])
    assert last["event"] == "repeat"
    assert len(last["data"]["readings"]) == 9


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write everywhere")
def test_where_records_cannot_be_kept(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    done = run(B, "--records", tmp_path / "r.jsonl", code=2)
    assert "r.jsonl" in done.stderr


def test_help_and_words_fit_the_screen_and_explain_the_trades_words(tmp_path: Path) -> None:
    from firstglow.sheets.glossary import TERMS

    pages = [f"words {n}" for n in range(2, 6)]
    out = run(
        B, "--records", tmp_path / "r.jsonl", answers=["words", *pages, "words 77", "words stopper", "help", "quit"]
    )
    assert "no such word or page" in out.stdout
    assert " ".join(out.stdout.split()).count("stopper: a small resistor") == 2
    told = " ".join(out.stdout.split())
    assert all(f"{term}: {text}" in told for term, text in TERMS)
    assert "words: RCD" in told
    assert all(len(line) <= 80 for line in out.stdout.splitlines())
