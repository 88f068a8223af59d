"""One record as one line of JSON, with its number and its seal.

The seal is a SHA-256 over the seal of the line before and this line's own text (a hash chain: Haber and Stornetta,
How to time-stamp a digital document, 1991). It keeps no secret: it finds a slip of an editor, not a forger.
"""

import hashlib
import json
from dataclasses import dataclass

from firstglow.records.record import Record, from_json

FIRST = "firstglow records 1"
LETTERS = 24


@dataclass(frozen=True, slots=True)
class Line:
    """A line as it stands. number: its own; seal: its own, as written; whole: seal and number fit the line before."""

    record: Record
    number: int
    seal: str


class LineError(ValueError):
    """A line that is no record as it was written; the message says why."""


def written(record: Record, number: int, before: str) -> tuple[str, str]:
    """(the line without its end, its seal). before: the seal of the line before, FIRST for the first."""
    body = json.dumps({"n": number, **record.json()}, ensure_ascii=False, allow_nan=False)
    seal = sealed(body, before)
    return f'{body[:-1]}, "seal": "{seal}"}}', seal


def sealed(body: str, before: str) -> str:
    """The seal of a line's body."""
    return hashlib.sha256(f"{before}\n{body}".encode()).hexdigest()[:LETTERS]


def read_line(text: str, number: int, before: str) -> Line:
    """A line, seen to be the ``number``-th and as it was written; LineError otherwise."""
    found = parse(text)
    if found.number != number:
        raise LineError(f"number {found.number} where {number} comes next: a line is missing, doubled or moved")
    body, _, _ = text.rpartition(', "seal": "')
    if sealed(f"{body}}}", before) != found.seal:
        raise LineError("it is not as firstglow wrote it (its seal does not fit)")
    return found


def parse(text: str) -> Line:
    """A line as it stands, its seal not looked at; LineError where it is no record at all."""
    try:
        data = json.loads(text)
    except ValueError:
        raise LineError("no JSON") from None
    if not isinstance(data, dict):
        raise LineError("no JSON object")
    number, seal = data.pop("n", None), data.pop("seal", None)
    if not isinstance(number, int) or isinstance(number, bool) or not isinstance(seal, str):
        raise LineError("its number or its seal is gone")
    try:
        return Line(from_json(data), number, seal)
    except ValueError as error:
        raise LineError(str(error)) from None
