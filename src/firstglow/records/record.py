"""The one type of record: something that happened at the bench, at a moment, about a reading or a part."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any


@dataclass(frozen=True, slots=True)
class Record:
    """One thing that happened.

    at: ISO 8601 with its offset from UTC. event: one word or two of the room that writes it ("go on", "made safe").
    rung, reading: what it is about. value: as typed. verdict: what was answered to a reading. why: in bench words.
    who: a name, where a person answers for it. data: whatever else belongs to this event, plain JSON.
    """

    at: str
    event: str
    rung: str | None = None
    reading: str | None = None
    value: str | None = None
    verdict: str | None = None
    why: str = ""
    who: str = ""
    data: Mapping[str, Any] = field(default_factory=dict)

    @property
    def moment(self) -> datetime:
        """``at`` as a moment with its offset; ValueError where it is none."""
        found = datetime.fromisoformat(self.at)
        if found.tzinfo is None:
            raise ValueError(f"{self.at}: a moment without its offset from UTC")
        return found

    def json(self) -> dict[str, Any]:
        """All fields, in the order in which they are written."""
        return {
            "at": self.at, "event": self.event, "rung": self.rung, "reading": self.reading, "value": self.value,
            "verdict": self.verdict, "why": self.why, "who": self.who, "data": dict(self.data),
        }  # fmt: skip


def from_json(found: Mapping[str, Any]) -> Record:
    """A record from its JSON; ValueError in bench words for anything that is none. Unknown keys are refused."""
    texts = {"at": False, "event": False, "rung": True, "reading": True, "value": True, "verdict": True,
             "why": False, "who": False}  # fmt: skip
    for key in ("at", "event"):
        if not isinstance(found.get(key), str) or not found[key]:
            raise ValueError(f'no "{key}"')
    for key, value in found.items():
        if key == "data":
            if not isinstance(value, dict):
                raise ValueError('"data" is no table')
        elif key not in texts:
            raise ValueError(f'unknown key "{key}"')
        elif not isinstance(value, str) and not (value is None and texts[key]):
            raise ValueError(f'"{key}" is no text')
    made = Record(**found)
    try:
        _ = made.moment
    except ValueError:
        raise ValueError(f'"at" is no moment: {made.at}') from None
    return made


def now() -> datetime:
    """This moment, with the offset of this place."""
    return datetime.now(UTC).astimezone()
