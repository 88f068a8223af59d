"""Two parts of one name in a file: TOML refuses the second, so it is read under a free name and told of."""

import re
from collections.abc import Collection
from dataclasses import dataclass

from firstglow.amplifier.lines import twice

_PART = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,19}")
_FIRST = 90  # numbers that no drawing uses for its own parts


@dataclass(frozen=True, slots=True)
class Double:
    """A name that two lines have: the lines, and a name that nothing has."""

    name: str
    first: int
    second: int
    free: str


def one_name_a_part(text: str) -> tuple[str, list[Double]]:
    """The text with the second part of a name under a free one; unchanged, and no doubles, where that is not it."""
    try:
        found = twice(text)
    except (ValueError, IndexError, RecursionError):
        return text, []
    parts = {path for path, *_ in found if len(path) == 2 and _PART.fullmatch(path[1])}
    if any(path[:2] not in parts for path, *_ in found):
        return text, []
    taken = set(re.findall(r"[A-Za-z]+[0-9]+", text))
    doubles, out, at = [], "", 0
    for path, first, second, start, end in found:
        if path not in parts:
            continue  # a key inside the second line
        free = free_name(path[1], taken)
        taken.add(free)
        out, at = out + text[at:start] + free + " ", end
        doubles.append(Double(path[1], first, second, free))
    return out + text[at:], doubles


def free_name(name: str, taken: Collection[str]) -> str:
    """A name like ``name`` that nothing has: R90 for a second R1, V90a for a second V2a."""
    letters = re.match(r"[A-Za-z]+", name)
    section = re.search(r"(?<=\d)[a-z]$", name)
    stem, tail = letters.group() if letters else "X", section.group() if section else ""
    number = next(n for n in range(_FIRST, _FIRST + len(taken) + 2) if f"{stem}{n}" not in taken)
    return f"{stem}{number}{tail}"
