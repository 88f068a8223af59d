"""Audits of edited examples without the hot restart, half of an audit's time: each once for all the files that look at a document."""

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from at_hand import shared
from firstglow import schemas
from firstglow.amplifier import load
from firstglow.audit import parts
from firstglow.audit.parts import audit, document
from firstglow.audit.ways import Stood

EXAMPLES = Path(__file__).parent.parent.parent / "examples"
A, B, C = (EXAMPLES / f"{n}.toml" for n in ("a-linden-twin", "b-hazel-four", "c-sorrel-twenty"))

audited = shared(audit)


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
