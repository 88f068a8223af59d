"""Records as lines of JSON in one file, and a second copy beside it (``FILE.copy``) from which what is lost comes back.

A line is on the disc before it counts. A last line that was cut off is set aside (``FILE.torn``), lines that are
missing at the end come back from the copy, and a line that is not as it was written is named and nothing is done until
it is mended: mending keeps the file as it was found.
"""

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from firstglow.records.lines import FIRST, Line, LineError, parse, read_line, written
from firstglow.records.lock import lock
from firstglow.records.record import Record, now
from firstglow.records.store import RecordsError

VOID = "void line"  # event of what stands where a line was that cannot be relied on; data holds what was found there


@dataclass(frozen=True, slots=True)
class Scan:
    """What a file holds. good: lines that fit each other, from the first on. texts: theirs. tail: bytes after the last
    line end. bad: (line number, why) of the first line that does not fit, None where all do; rest: texts from there."""

    good: tuple[Line, ...]
    texts: tuple[str, ...]
    tail: bytes
    bad: tuple[int, str] | None
    rest: tuple[str, ...]

    @property
    def seal(self) -> str:
        """Of the last good line."""
        return self.good[-1].seal if self.good else FIRST


def scan(data: bytes) -> Scan:
    """Read a file's bytes; never raises."""
    *rows, tail = data.split(b"\n")
    good: list[Line] = []
    texts: list[str] = []
    for number, row in enumerate(rows, 1):
        text = row.decode("utf-8", "replace")
        try:
            good.append(read_line(text, number, good[-1].seal if good else FIRST))
        except LineError as error:
            rest = tuple(r.decode("utf-8", "replace") for r in rows[number - 1 :])
            return Scan(tuple(good), tuple(texts), tail, (number, str(error)), rest)
        texts.append(text)
    return Scan(tuple(good), tuple(texts), tail, None, ())


class JsonLines:
    """The store. Made by ``open_jsonl``."""

    def __init__(self, path: Path, handle: int, copy: int, lines: Sequence[Line], told: Sequence[str]) -> None:
        self._path, self._handle, self._copy = path, handle, copy
        self._records = [line.record for line in lines]
        self._seal = lines[-1].seal if lines else FIRST
        self._told = tuple(told)

    @property
    def name(self) -> str:
        """The file."""
        return str(self._path)

    @property
    def told(self) -> tuple[str, ...]:
        """What had to be set right on opening."""
        return self._told

    def append(self, record: Record) -> None:
        """Keep a record; OSError where the disc does not take it, and then nothing of it stays."""
        text, seal = written(record, len(self._records) + 1, self._seal)
        size = os.lseek(self._handle, 0, os.SEEK_END)
        try:
            _write(self._handle, f"{text}\n".encode())
            os.fsync(self._handle)
        except OSError:
            os.ftruncate(self._handle, size)
            raise
        self._records.append(record)
        self._seal = seal
        # the copy may lag by what the system has not written yet: it is only asked when the file itself is damaged
        _write(self._copy, f"{text}\n".encode())

    def records(self) -> tuple[Record, ...]:
        """All of them, oldest first."""
        return tuple(self._records)

    def close(self) -> None:
        """Let go of the file and its lock."""
        if self._handle >= 0:
            os.fsync(self._copy)
            os.close(self._copy)
            os.close(self._handle)
            self._handle = self._copy = -1


def open_jsonl(path: str | Path, *, mend: bool = False) -> JsonLines:
    """The records in a file, which is made if it is not there. RecordsError where it is in use or not as written.

    mend: rebuild a file that is not as it was written; what was found is kept beside it. ``told`` says what was done.
    """
    path = Path(path)
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
    try:
        _lock(path, handle)
        return _opened(path, handle, mend)
    except BaseException:
        os.close(handle)
        raise


def _lock(path: Path, handle: int) -> None:
    if not lock(handle):
        raise RecordsError(
            f"{path}:1: records: in use by another climb; one climb writes one file; try ending that one first, "
            f"or --records with another name"
        )


def _opened(path: Path, handle: int, mend: bool) -> JsonLines:
    told: list[str] = []
    beside = Path(f"{path}.copy")
    kept = scan(beside.read_bytes()) if beside.exists() else scan(b"")
    found = scan(path.read_bytes())
    if found.bad is not None:
        if not mend:
            raise RecordsError(_edited(path, found, kept))
        found = _mended(path, found, kept, told)
        _replace(handle, found)
    elif found.tail:
        found = _untorn(path, handle, found, told)
    found = _from_copy(path, handle, found, kept, told)
    copy = _copy(beside, found, kept, told)
    _sync_folder(path)
    return JsonLines(path, handle, copy, found.good, told)


def _edited(path: Path, found: Scan, kept: Scan) -> str:
    """The message about a line that is not as it was written."""
    number, why = found.bad or (0, "")
    where = "its copy has it as it was" if len(kept.good) >= number else "a line that is not as written proves nothing"
    return (
        f"{path}:{number}: line {number}: {why}; only firstglow writes this file ({where}); "
        f"try --mend: the file as it stands is kept beside it, and nothing is thrown away"
    )


def _mended(path: Path, found: Scan, kept: Scan, told: list[str]) -> Scan:
    """The lines a file should have had: from its copy where that is whole, else with what cannot be relied on void."""
    aside = _free(path, "found")
    _keep(aside, path.read_bytes())
    number = (found.bad or (1, ""))[0]
    whole = len(kept.good) >= len(found.good) + len(found.rest) and kept.texts[: len(found.good)] == found.texts
    if whole:
        told.append(f"{path}: put back as it was written, from its copy; the file as it was found is {aside.name}")
        return kept
    seal, good, texts = found.seal, list(found.good), list(found.texts)
    before = found.seal
    for row in (*found.rest, *([found.tail.decode("utf-8", "replace")] if found.tail else [])):
        text, seal = written(_kept_or_void(row, before), len(good) + 1, seal)
        before = _own_seal(row)
        good.append(parse(text))
        texts.append(text)
    void = sum(line.record.event == VOID for line in good)
    told.append(
        f"{path}: line {number} on was sealed again; {void} line(s) that were not as written are void and count as "
        f"not read; the file as it was found is {aside.name}"
    )
    return Scan(tuple(good), tuple(texts), b"", None, ())


def _kept_or_void(row: str, before: str) -> Record:
    """What a line from the bad one on becomes: itself where its own seal proves it, void otherwise.

    before: the seal of the line that stands before it in the file as found; where a line was taken out, the one after
    it cannot be proved either.
    """
    try:
        line = parse(row)
        read_line(row, line.number, before)
    except LineError as error:
        return Record(now().isoformat(timespec="seconds"), VOID, why=str(error), data={"found": row})
    return line.record


def _own_seal(row: str) -> str:
    """The seal written in a line; "" where it has none."""
    try:
        return parse(row).seal
    except LineError:
        return ""


def _untorn(path: Path, handle: int, found: Scan, told: list[str]) -> Scan:
    """A last line without its end: whole (then only its end was lost), or cut off and set aside."""
    text = found.tail.decode("utf-8", "replace")
    try:
        line = read_line(text, len(found.good) + 1, found.seal)
    except LineError:
        torn = Path(f"{path}.torn")
        _keep(torn, found.tail + b"\n")
        os.ftruncate(handle, os.fstat(handle).st_size - len(found.tail))
        os.fsync(handle)
        told.append(
            f"{path}:{len(found.good) + 1}: last line cut off: set aside in {torn.name}; it had not been acknowledged "
            f"unless the file was cut later"
        )
        return Scan(found.good, found.texts, b"", None, ())
    _write(handle, b"\n")
    os.fsync(handle)
    return Scan((*found.good, line), (*found.texts, text), b"", None, ())


def _from_copy(path: Path, handle: int, found: Scan, kept: Scan, told: list[str]) -> Scan:
    """What is missing at the end, put back from the copy."""
    more = len(kept.good) - len(found.good)
    if more <= 0 or kept.texts[: len(found.texts)] != found.texts:
        return found
    _write(handle, "".join(f"{text}\n" for text in kept.texts[len(found.texts) :]).encode())
    os.fsync(handle)
    told.append(f"{path}: {more} record(s) were missing at its end: put back from {path.name}.copy")
    return kept


def _copy(beside: Path, found: Scan, kept: Scan, told: list[str]) -> int:
    """The copy, brought to what the file holds, open for appending."""
    if beside.exists() and found.texts[: len(kept.texts)] != kept.texts:
        aside = _free(beside, "old")
        beside.rename(aside)
        told.append(f"{beside}: it was the copy of other records: kept as {aside.name}")
    handle = os.open(beside, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
    if kept.texts != found.texts or kept.tail or kept.bad:
        _replace(handle, found)
    return handle


def _replace(handle: int, found: Scan) -> None:
    """The whole content of an open file; what was there is kept beside it by whoever calls this."""
    os.ftruncate(handle, 0)
    _write(handle, "".join(f"{text}\n" for text in found.texts).encode())
    os.fsync(handle)


def _write(handle: int, data: bytes) -> None:
    """All of it."""
    while data:
        data = data[os.write(handle, data) :]


def _keep(aside: Path, data: bytes) -> None:
    """Bytes added to a file beside the records, on the disc when this returns."""
    with aside.open("ab") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _free(path: Path, word: str) -> Path:
    """A name beside ``path`` that nothing has yet."""
    return next(p for n in range(1, 10000) if not (p := Path(f"{path}.{word}-{n}")).exists())


def _sync_folder(path: Path) -> None:
    """Names in a folder are on the disc too (POSIX; elsewhere the file's own sync must do)."""
    try:
        folder = os.open(path.resolve().parent, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(folder)
    except OSError:
        return
    finally:
        os.close(folder)
