"""The JSON Schema of the amplifier file (its TOML read as JSON), made from the attribute tables."""

from typing import Any

from firstglow.amplifier.attributes import Attribute, kinds
from firstglow.amplifier.layers import KINDS
from firstglow.amplifier.resolve import SPREADS
from firstglow.amplifier.schema_asides import chart_schema, intake_schema

_PART = "^[A-Za-z][A-Za-z0-9_]{0,19}$"
_TEXT = {"type": "string", "maxLength": 200}


def file_schema() -> dict[str, Any]:
    """JSON Schema 2020-12. A file that fails it is refused by the reader; the reader refuses more than it can say."""
    table = {"$ref": "#/$defs/table"}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "firstglow amplifier file",
        "type": "object",
        "required": ["format", "amplifier"],
        "properties": {
            "format": {"const": 1},
            "fragment": {"type": "boolean", "description": "a stage on a bench supply: no mains transformer needed"},
            "amplifier": _amplifier(),
            "shared": table,
            "parts": table,
            "channel": table,
            "names": {
                "type": "object",
                "additionalProperties": {
                    "type": "object",
                    "additionalProperties": {"type": "string", "pattern": _PART},
                },
            },
            "spread": {"type": "object", "additionalProperties": _spread()},
            "layer": {"type": "array", "items": _layer()},
            "chart": {"type": "array", "items": chart_schema()},
            "chassis": False,
            "wire": False,
            "intake": intake_schema(),
        },
        "patternProperties": {
            "^(?!format$|fragment$|amplifier$|names$|spread$|layer$|chart$|intake$)[a-z][a-z0-9_]{0,15}$": table
        },
        "additionalProperties": False,
        "$defs": {
            "table": {
                "type": "object",
                "propertyNames": {"pattern": _PART},
                "additionalProperties": {"$ref": "#/$defs/part"},
            },
            **_part(),
        },
    }


def _amplifier() -> dict[str, Any]:
    return {
        "type": "object",
        "required": ["name"],
        "additionalProperties": False,
        "properties": {
            "name": {"type": "string", "minLength": 1, "maxLength": 80},
            "drawing": {"type": "string", "maxLength": 80},
            "mains": {"type": "string", "description": "what the primary in use is marked for: 230V 50Hz"},
            "channels": {
                "type": "array",
                "items": {"type": "string", "pattern": "^[a-z][a-z0-9_]{0,15}$"},
                "uniqueItems": True,
                "maxItems": 8,
            },
            "mains_spread": {"type": "string"},
            "floating": {"type": "array", "items": {"type": "string"}},
            "note": _TEXT,
        },
    }


def _spread() -> dict[str, Any]:
    return {
        "type": "object",
        "additionalProperties": False,
        "properties": {name: {"type": ["string", "number"]} for name in SPREADS},
    }


def _layer() -> dict[str, Any]:
    return {
        "type": "object",
        "required": ["kind"],
        "additionalProperties": False,
        "properties": {
            "kind": {"enum": list(KINDS)},
            **{key: {"type": "string"} for key in ("who", "when", "why", "note", "meter", "uncertainty")},
            "set": {"type": "object", "additionalProperties": {"anyOf": [_TEXT, {"$ref": "#/$defs/more"}]}},
            "add": {"type": "object", "additionalProperties": {"$ref": "#/$defs/part"}},
            "remove": {"type": "array", "items": {"type": "string"}},
            "rejoin": {"type": "object", "additionalProperties": {"type": "string"}},
        },
    }


def _part() -> dict[str, Any]:
    place = {
        "anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}, "minItems": 1, "maxItems": 12}]
    }
    return {
        "part": {
            "anyOf": [
                _TEXT,
                {
                    "type": "array",
                    "minItems": 1,
                    "prefixItems": [_TEXT],
                    "items": {"anyOf": [place, {"$ref": "#/$defs/more"}]},
                },
            ]
        },
        "more": {
            "type": "object",
            "properties": {**_attributes(), **_words()},
            "additionalProperties": {**place, "description": "a lead by its name, or a winding"},
        },
    }


def _attributes() -> dict[str, Any]:
    """Every attribute by name; one that several kinds have is described once for each."""
    found: dict[str, list[tuple[str, Attribute]]] = {}
    for kind in kinds().values():
        for row in kind.attributes.values():
            found.setdefault(row.name, []).append((kind.name, row))
    return {
        name: {
            "type": ["string", "number"],
            "description": "; ".join(dict.fromkeys(f"{kind}: {row.text} [{row.unit}]" for kind, row in rows))
            if not name.startswith(("body_", "lead_"))
            else f"{rows[0][1].text} [{rows[0][1].unit}]",
        }
        for name, rows in sorted(found.items())
    }


def _words() -> dict[str, Any]:
    found: dict[str, dict[str, Any]] = {}
    for kind in kinds().values():
        for word, text in kind.words.items():
            if text:
                found[word] = {"description": text}
    found["test"]["type"] = "boolean"
    found["single_ended"]["type"] = "boolean"
    found["link"]["anyOf"] = [
        {"type": "string"},
        {
            "type": "object",
            "required": ["name"],
            "additionalProperties": False,
            "properties": {"name": {"type": "string"}, "lead": {"type": "string"}, "tie": {"type": "string"}},
        },
    ]
    found["heater"]["anyOf"] = [
        {"type": "string"},
        {"type": "array", "items": {"type": "string"}, "minItems": 1, "maxItems": 3},
    ]
    for word in ("note", "can", "gang", "heater_connection", "idle", "set_by", "section", "taps", "in_phase", "role"):
        found[word]["type"] = "string"
    return dict(sorted(found.items()))
