"""Records that are never lost: killed writers, cut files, edited lines, two writers at once."""

import json
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from firstglow.records.jsonl import VOID, open_jsonl, scan
from firstglow.records.record import Record, from_json
from firstglow.records.store import RecordsError

AT = "2026-11-25T15:00:00+01:00"


def record(number: int) -> Record:
    return Record(AT, "go on", "4", f"4/HT{number}/shared", f"{number} V", "go on", data={"number": number})


def filled(path: Path, count: int) -> Path:
    store = open_jsonl(path)
    for number in range(count):
        store.append(record(number))
    store.close()
    return path


def numbers(path: Path, **how: bool) -> list[int]:
    store = open_jsonl(path, **how)
    found = [r.data["number"] for r in store.records() if r.event != VOID]
    store.close()
    return found


def test_what_goes_in_comes_out(tmp_path: Path) -> None:
    path = filled(tmp_path / "r.jsonl", 7)
    store = open_jsonl(path)
    assert store.records() == tuple(record(n) for n in range(7))
    assert store.told == ()
    store.close()
    lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    assert [line["n"] for line in lines] == [1, 2, 3, 4, 5, 6, 7]
    assert all({"at", "event", "rung", "reading", "value", "verdict"} <= set(line) for line in lines)


@pytest.mark.parametrize(
    "bad",
    [
        {"event": "go on"}, {"at": AT}, {"at": "today", "event": "x"}, {"at": "2026-11-25T15:00:00", "event": "x"},
        {"at": AT, "event": "x", "more": 1}, {"at": AT, "event": "x", "value": 3}, {"at": AT, "event": "x", "data": []},
    ],
)  # fmt: skip
def test_what_is_no_record_is_refused(bad: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"."):
        from_json(bad)


def test_a_second_climb_on_the_same_file_is_told(tmp_path: Path) -> None:
    path = filled(tmp_path / "r.jsonl", 2)
    store = open_jsonl(path)
    code = (
        "import sys\nfrom firstglow.records.jsonl import open_jsonl\n"
        "try:\n    open_jsonl(sys.argv[1])\nexcept Exception as e:\n    sys.exit(str(e))"
    )
    other = subprocess.run([sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=False)
    assert other.returncode == 1
    assert f"{path}:1: records: in use by another climb" in other.stderr
    store.append(record(2))
    store.close()
    assert numbers(path) == [0, 1, 2]


@pytest.mark.parametrize("share", [0.02, 0.3, 0.5, 0.77, 0.999])
def test_a_file_cut_anywhere_comes_back_whole(tmp_path: Path, share: float) -> None:
    path = filled(tmp_path / "r.jsonl", 20)
    whole = path.read_bytes()
    path.write_bytes(whole[: int(share * len(whole))])
    store = open_jsonl(path)
    assert len(store.records()) == 20
    assert any("put back" in text for text in store.told) or share > 0.99
    store.close()
    assert path.read_bytes() == whole


@pytest.mark.parametrize("share", [0.02, 0.5, 0.77])
def test_without_its_copy_a_cut_file_keeps_every_whole_line(tmp_path: Path, share: float) -> None:
    path = filled(tmp_path / "r.jsonl", 20)
    Path(f"{path}.copy").unlink()
    whole = path.read_bytes()
    cut = whole[: int(share * len(whole))]
    path.write_bytes(cut)
    store = open_jsonl(path)
    assert [r.data["number"] for r in store.records()] == list(range(cut.count(b"\n")))
    assert "cut off" in store.told[0]
    assert str(cut.count(b"\n") + 1) in store.told[0]
    store.append(record(99))
    store.close()
    assert numbers(path) == [*range(cut.count(b"\n")), 99]
    assert Path(f"{path}.torn").read_bytes().strip() == cut.rpartition(b"\n")[2].strip()


def edit(path: Path, line: int, old: str, new: str) -> None:
    rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
    assert old in rows[line - 1]
    rows[line - 1] = rows[line - 1].replace(old, new)
    path.write_text("".join(rows), encoding="utf-8")


@pytest.mark.parametrize("with_copy", [True, False])
def test_a_line_edited_by_hand_is_named_and_mended(tmp_path: Path, with_copy: bool) -> None:
    path = filled(tmp_path / "r.jsonl", 10)
    edit(path, 5, '"4 V"', '"400 V"')
    if not with_copy:
        Path(f"{path}.copy").unlink()
    before = path.read_bytes()
    with pytest.raises(RecordsError, match=rf"^{path}:5: line 5: .*seal does not fit.*; try --mend"):
        open_jsonl(path)
    assert path.read_bytes() == before
    kept = numbers(path, mend=True)
    assert kept == (list(range(10)) if with_copy else [0, 1, 2, 3, 5, 6, 7, 8, 9])
    assert Path(f"{path}.found-1").read_bytes() == before
    assert numbers(path) == kept  # and from now on it opens like any other
    if not with_copy:
        void = next(r for r in (line.record for line in scan(path.read_bytes()).good) if r.event == VOID)
        assert '"400 V"' in void.data["found"]


@pytest.mark.parametrize("how", ["taken out", "doubled", "exchanged", "rubbish", "seal gone"])
def test_lines_moved_by_hand_are_found(tmp_path: Path, how: str) -> None:
    path = filled(tmp_path / "r.jsonl", 10)
    rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
    if how == "taken out":
        del rows[3]
    elif how == "doubled":
        rows.insert(3, rows[2])
    elif how == "exchanged":
        rows[3], rows[4] = rows[4], rows[3]
    elif how == "rubbish":
        rows[3] = "what is this\n"
    else:
        rows[3] = rows[3].partition(', "seal"')[0] + "}\n"
    path.write_text("".join(rows), encoding="utf-8")
    with pytest.raises(RecordsError, match=rf"^{path}:4: line 4: "):
        open_jsonl(path)
    assert numbers(path, mend=True) == list(range(10))


def test_mending_without_a_copy_keeps_what_its_own_seals_prove(tmp_path: Path) -> None:
    path = filled(tmp_path / "r.jsonl", 10)
    Path(f"{path}.copy").unlink()
    rows = path.read_text(encoding="utf-8").splitlines(keepends=True)
    del rows[3]
    path.write_text("".join(rows), encoding="utf-8")
    # the line after the missing one cannot be proved: void; every later one can
    assert numbers(path, mend=True) == [0, 1, 2, 5, 6, 7, 8, 9]


WRITERS = """
import json, os, random, signal, sys, time
from firstglow.records.jsonl import open_jsonl
from firstglow.records.record import Record

def write(say):
    store = open_jsonl(sys.argv[1])
    n = len(store.records())
    os.write(say, f"{n}\\n".encode())
    while True:
        store.append(Record("2026-11-25T15:00:00+01:00", "go on", "4", value=str(n) * 50, data={"number": n}))
        n += 1
        os.write(say, f"{n}\\n".encode())

rng = random.Random(7)
for turn in range(100):
    hears, says = os.pipe()
    writer = os.fork()
    if not writer:
        os.close(hears)
        write(says)
    os.close(says)
    with os.fdopen(hears) as hear:
        # after so many acknowledged, and then anywhere in the next: by the clock alone a quick disc makes a file so long that
        # opening it again is all the time there is
        first = "".join(hear.readline() for _ in range(rng.randint(1, 12)))
        time.sleep(rng.uniform(0.0, 0.002))
        os.kill(writer, signal.SIGKILL)
        said = first + hear.read()
    print(json.dumps([os.waitstatus_to_exitcode(os.waitpid(writer, 0)[1]), said]), flush=True)
"""


def test_a_hundred_killed_writers_lose_nothing_that_was_acknowledged(tmp_path: Path) -> None:
    """Each writer is a process of its own, killed in the middle; one process starts them all, so that nothing is imported anew."""
    path = tmp_path / "r.jsonl"
    done = subprocess.run(
        [sys.executable, "-c", WRITERS, str(path)], stdout=subprocess.PIPE, text=True, check=True, timeout=200
    )
    turns = [json.loads(line) for line in done.stdout.splitlines()]
    assert [code for code, _ in turns] == [-signal.SIGKILL] * 100
    acknowledged = 0
    for turn, (_, said) in enumerate(turns):
        first, *numbers_said = (int(word) for word in said.split("\n")[:-1])
        assert first >= acknowledged, f"turn {turn}: {first} of {acknowledged} acknowledged"
        acknowledged = max([first, *numbers_said])
    found = numbers(path)
    assert len(found) >= acknowledged
    assert found == list(range(len(found)))
    assert acknowledged > 100
