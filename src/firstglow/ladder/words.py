"""Every text of the ladder in one place: ``texts.toml``, said in the bench's own words.

Texts name things with ``{valve}``, ``{plate}``, ``{HT}``; a bench that says tube, anode and B+ gets those.
"""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any


@cache
def texts() -> dict[str, Any]:
    """The table of texts, read once."""
    return tomllib.loads(files("firstglow.ladder").joinpath("texts.toml").read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True)
class Words:
    """How this bench names things. valve: "valve" or "tube"; plate: "plate" or "anode"; ht: "HT" or "B+"."""

    valve: str = "valve"
    plate: str = "plate"
    ht: str = "HT"

    def say(self, template: str, **fill: object) -> str:
        """A template with the bench's words and ``fill`` put in; KeyError if a name in it has no value."""
        own = {
            "valve": self.valve,
            "valves": f"{self.valve}s",
            "Valve": self.valve.capitalize(),
            "Valves": f"{self.valve.capitalize()}s",
            "plate": self.plate,
            "plates": f"{self.plate}s",
            "Plate": self.plate.capitalize(),
            "a_plate": f"an {self.plate}" if self.plate == "anode" else f"a {self.plate}",
            "HT": self.ht,
        }
        return template.format(**own, **fill)

    def text(self, key: str, **fill: object) -> str:
        """One text by its dotted key ("rung.4.title")."""
        return self.say(str(self._find(key)), **fill)

    def lines(self, key: str, **fill: object) -> tuple[str, ...]:
        """A list of texts by its dotted key; a missing one is empty."""
        found = self._find(key, missing=[])
        return tuple(self.say(str(line), **fill) for line in found)

    def has(self, key: str) -> bool:
        """Is there such a text?"""
        return self._find(key, missing=None) is not None

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
