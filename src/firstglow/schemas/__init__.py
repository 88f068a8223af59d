"""JSON Schemas (draft 2020-12) of everything the commands print, shipped in the package."""

import json
from importlib.resources import files
from typing import Any


def names() -> tuple[str, ...]:
    """Names that ``firstglow schema NAME`` takes, in alphabetical order."""
    here = files("firstglow.schemas")
    return tuple(sorted([p.name.removesuffix(".json") for p in here.iterdir() if p.name.endswith(".json")]))


def load(name: str) -> dict[str, Any]:
    """The schema of one command's JSON; KeyError for a name that has none."""
    if name not in names():
        raise KeyError(name)
    schema: dict[str, Any] = json.loads(files("firstglow.schemas").joinpath(f"{name}.json").read_text(encoding="utf-8"))
    return schema
