"""JSON Schema of ``[[chart]]`` and ``[intake]``, and their tables for docs/file.md."""

from typing import Any

from firstglow.amplifier import charts, intake

_TEXT = {"type": "string", "maxLength": 80}
_NAMES = {"type": "array", "items": {"type": "string", "minLength": 1, "maxLength": 80}, "maxItems": 60}


def chart_schema() -> dict[str, Any]:
    """One chart."""
    point = {
        "anyOf": [
            {"type": "string"},
            {
                "type": "object",
                "required": ["volts"],
                "additionalProperties": False,
                "properties": {key: {"type": "string"} for key in charts.POINT_KEYS},
            },
        ]
    }
    own: dict[str, dict[str, Any]] = {
        "out": _NAMES,
        "lift": _NAMES,
        "pots": {"type": "object", "additionalProperties": {"type": ["number", "string"]}},
        "points": {"type": "object", "minProperties": 1, "additionalProperties": point},
    }
    return {
        "type": "object",
        "required": ["title", "points"],
        "additionalProperties": False,
        "properties": {k: {**own.get(k, _TEXT), "description": text} for k, text in charts.KEYS.items()},
    }


def intake_schema() -> dict[str, Any]:
    """The one intake."""
    own: dict[str, dict[str, Any]] = {
        "plugged_in": {"enum": [*intake.PLUGGED, True, False]},
        "story": {"type": "string", "maxLength": 400},
        "missing": _NAMES,
        "original": _NAMES,
        "fuse": {"anyOf": [{"type": "string"}, {"type": "object", "additionalProperties": {"type": "string"}}]},
        "country": {"enum": list(intake.COUNTRIES)},
        "polarised": {"type": "boolean"},
    }
    return {
        "type": "object",
        "additionalProperties": False,
        "properties": {k: {**own.get(k, _TEXT), "description": text} for k, text in intake.KEYS.items()},
    }


def chart_keys() -> str:
    """The chart's keys as a table."""
    return "\n".join(["| key | what |", "|---|---|", *(f"| `{k}` | {v} |" for k, v in charts.KEYS.items())])


def intake_keys() -> str:
    """The intake's keys as a table."""
    return "\n".join(["| key | what |", "|---|---|", *(f"| `{k}` | {v} |" for k, v in intake.KEYS.items())])
