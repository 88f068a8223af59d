"""A Situation as JSON data and back (docs/file.md, Situation)."""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from firstglow.amplifier.options import SituationError
from firstglow.amplifier.situation import Situation

_SETS = ("out", "lifted", "switches_open")
_MAPS = ("pots", "idle", "loads")
_CHOICES = {"load": ("dummy", "none", "loudspeaker"), "feedback": ("closed", "open", "test")}


def situation_to_json(situation: Situation, text: str = "") -> dict[str, Any]:
    """Plain JSON data, sets as sorted lists; ``text`` is the same in words."""
    out: dict[str, Any] = {}
    for field in fields(situation):
        value = getattr(situation, field.name)
        if field.name in _SETS:
            out[field.name] = sorted(value)
        elif field.name in _MAPS:
            out[field.name] = dict(sorted(value.items()))
        else:
            out[field.name] = value
    return {**out, "text": text} if text else out


def situation_from_json(data: Mapping[str, Any]) -> Situation:
    """The Situation; raises SituationError for what is no situation."""
    known = {f.name for f in fields(Situation)} | {"text"}
    made: dict[str, Any] = {}
    for key, value in data.items():
        if key not in known:
            raise SituationError(
                "situation", f"unknown key {key!r}", "keys: " + ", ".join(sorted(known)), '{"mains_volts": 230}'
            )
        if key == "text":
            continue
        if key in _SETS:
            good = isinstance(value, list) and all(isinstance(v, str) for v in value)
            made[key] = frozenset(value) if good else None
        elif key in _MAPS:
            good = isinstance(value, Mapping) and all(_number(v) for v in value.values())
            made[key] = {str(k): float(v) for k, v in value.items()} if good else None
        elif key in _CHOICES:
            good = value in _CHOICES[key]
            made[key] = value
        elif key == "meter":
            good = isinstance(value, str)
            made[key] = value
        else:
            good = _number(value) or (value is None and key in {"mains_hz", "lamp_watts", "test_ohms"})
            made[key] = None if value is None else float(value) if good else None
        if not good:
            raise SituationError(
                "situation",
                f"{key} = {str(value)[:40]!r}",
                "a value of the kind in docs/file.md",
                '{"mains_volts": 230, "out": ["V3"]}',
            )
    if "mains_volts" not in made:
        raise SituationError("situation", "mains_volts is missing", "volts at the plug", '{"mains_volts": 230}')
    return Situation(**made)


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e15 and value == value
