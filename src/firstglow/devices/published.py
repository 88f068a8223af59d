"""Published valve figures (``data/valves.toml``), read once when first asked for.

The file's header says how its rows are to be read; this module only loads them and names publications.
"""

import re
import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import Any

Row = Mapping[str, Any]


@cache
def published_types() -> Mapping[str, Mapping[str, Any]]:
    """Every valve type of the data file: name -> its table (points, limits, pins, ... units in the key names)."""
    text = files("firstglow.devices").joinpath("data/valves.toml").read_text(encoding="utf-8")
    valves: Mapping[str, Mapping[str, Any]] = tomllib.loads(text)["valves"]
    return valves


@cache
def publication(source: str) -> str:
    """The publication behind a row's ``source``: what is left when page, condition and type are taken off.

    Rows of one publication stand or fall together, so the blind study leaves them out together.
    """
    text = source.lower()
    for word, name in _PUBLICATIONS:
        if re.search(word, text):
            return name
    return re.split(r"[,(;]", text)[0].strip()


_PUBLICATIONS = (
    (r"\brca\b", "RCA"),
    (r"mullard circuits for audio", "Mullard circuits"),
    (r"philips|mullard", "Philips/Mullard"),
    (r"western electric|^we 300b", "Western Electric"),
    (r"tung-sol", "Tung-Sol"),
    (r"m-ov|gec", "M-OV/GEC"),
    (r"sylvania", "Sylvania"),
    (r"westinghouse", "Westinghouse"),
    (r"\bge\b", "GE"),
)


@cache
def _related() -> Mapping[str, Mapping[str, Mapping[str, Any]]]:
    text = files("firstglow.devices").joinpath("data/variants.toml").read_text(encoding="utf-8")
    found: Mapping[str, Mapping[str, Mapping[str, Any]]] = tomllib.loads(text)
    return found


def variants() -> Mapping[str, Mapping[str, Any]]:
    """Types that differ from a published one in ratings, heater or base only (``data/variants.toml``)."""
    return _related()["variant"]


def brackets() -> Mapping[str, Mapping[str, Any]]:
    """Rectifiers without a drop in print, and the two types between which they stand (``data/variants.toml``)."""
    return _related()["bracket"]
