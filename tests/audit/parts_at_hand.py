"""Audits of edited examples without the hot restart, half of an audit's time: each once for all the files that look at a document."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from at_hand import audited_cold as audited
from firstglow import schemas
from firstglow.amplifier import load
from firstglow.audit import parts
from firstglow.audit.parts import document
from firstglow.audit.ways import Stood

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
A, B, C = (EXAMPLES / f"{n}.toml" for n in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty"))

# Two copies of example (a) in which two things are planted that have nothing to do with each other, each for two tests.
FUSE_AND_PAPER = (
    ('F1 = ["fuse 1A slow"', 'F1 = ["fuse 630m slow"'),
    ('C13 = ["0.1u 630V film"', 'C13 = ["0.1u 630V paper"'),
)
WIDE_AND_OLD = (
    ('rect = "5V 2A 0R08"', 'rect = "5V 3A 0R08"'),
    ('C1 = ["32u 500V", "HT1", "chassis"]', 'C1 = ["32u 500V", "HT1", "chassis", { note = "old" }]'),
)


def planted(pairs: tuple[tuple[str, str], ...]) -> str:
    """Example (a) with each first text once for its second."""
    text = A.read_text(encoding="utf-8")
    for old, new in pairs:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return text


def without_restart(monkeypatch: pytest.MonkeyPatch) -> None:
    """The command takes what is at hand here, too."""
    monkeypatch.setattr(Stood, "restart", None)
    monkeypatch.setattr(parts, "audit", audited)


def made(text: str, at: Path) -> dict[str, Any]:
    file = at / "asked.toml"
    file.write_text(text, encoding="utf-8")
    found = document(audited(load(file)))  # one key wherever a file lies: an example's own text is the example
    jsonschema.validate(json.loads(json.dumps(found, allow_nan=False)), schemas.load("parts"))
    return found


def of(found: dict[str, Any], part: str) -> dict[str, Any]:
    return next(p for p in found["parts"] if p["part"] == part)
