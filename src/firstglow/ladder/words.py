"""Every text of the ladder in one place: ``texts.toml``, in our own words (``spoken`` says them in a bench's).

What stands in ``<choke: ...>`` is said only of an amplifier that has one (``ladder.things``), ``<no choke: ...>`` only of others.
"""

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from firstglow.ladder.things import THINGS

_ONLY = re.compile(r"<(no )?([a-z ]+): ([^<>]*)>")


@cache
def texts() -> dict[str, Any]:
    """The table of texts, read once."""
    return tomllib.loads(files("firstglow.ladder").joinpath("texts.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class Words:
    """The texts for one amplifier on one bench. has: what the two have, of ``things.THINGS``."""

    has: frozenset[str] = THINGS

    def say(self, template: str, **fill: object) -> str:
        """A template with ``fill`` put in; KeyError if a name in it has no value."""
        return _ONLY.sub(self._if_there, template).format(**fill)

    def text(self, key: str, **fill: object) -> str:
        """One text by its dotted key ("rung.4.title")."""
        return self.say(str(self._find(key)), **fill)

    def lines(self, key: str, **fill: object) -> tuple[str, ...]:
        """A list of texts by its dotted key, those of things that are there; a missing one is empty."""
        found = (self.say(str(line), **fill) for line in self._find(key, missing=[]))
        return tuple(line for line in found if line)

    def is_there(self, key: str) -> bool:
        """Is there such a text?"""
        return self._find(key, missing=None) is not None

    def _if_there(self, found: re.Match[str]) -> str:
        """What is said of a thing, where it is there."""
        if found[2] not in THINGS:
            raise KeyError(found[2])
        return found[3] if (found[2] in self.has) != bool(found[1]) else ""

    @staticmethod
    def _find(key: str, missing: Any = KeyError) -> Any:
        here: Any = texts()
        for step in key.split("."):
            if step not in here:
                if missing is KeyError:
                    raise KeyError(key)
                return missing
            here = here[step]
        return here
