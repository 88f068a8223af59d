"""Collects every mistake of a file, each with its line, so that all are told in one go."""

import difflib
from collections.abc import Iterable

from firstglow.amplifier.lines import Path, dotted
from firstglow.amplifier.model import AmplifierError, Problem

MOST = 200  # more are not read by anyone; the last one says how many were left out


class Mistakes:
    """The mistakes found so far in one file.

    first: told before all others, whatever their lines.
    broken: a part or a joint is missing from what was read, so what depends on the whole is not judged: it would only
    repeat the same mistake in other words.
    """

    def __init__(self, file: str, lines: dict[Path, int]) -> None:
        self.file = file
        self.lines = lines
        self.found: list[Problem] = []
        self.first: list[Problem] = []
        self.broken = False

    def line(self, path: Path) -> int:
        """Line of a key path, or of the nearest table around it; 1 if there is none."""
        while path:
            if path in self.lines:
                return self.lines[path]
            path = path[:-1]
        return 1

    def add(self, at: Path | int, part: str, found: str, allowed: str, remedy: str) -> None:
        """Note one mistake; ``at`` a key path or a line."""
        line = at if isinstance(at, int) else self.line(at)
        problem = Problem(self.file, line, _one_line(part), _one_line(found), _one_line(allowed), _one_line(remedy))
        if problem not in self.found:
            self.found.append(problem)

    def blames(self, part: str) -> bool:
        """True if a mistake was found in this part already."""
        return any(p.part == part for p in self.found)

    def key(self, at: Path, part: str, key: str, known: Iterable[str], what: str = "key") -> None:
        """Note an unknown key, with the nearest known one."""
        names = list(known)
        near = nearest(key, names)
        self.add(
            at,
            part,
            f"unknown {what} {short(key)!r}",
            "allowed: " + ", ".join(names),
            near or f"taking {short(key)} out",
        )

    def stop(self) -> None:
        """Raise AmplifierError if anything was found."""
        if self.found:
            ordered = [*self.first, *sorted(self.found, key=lambda p: p.line)]
            raise AmplifierError(tuple(ordered[:MOST]))


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word most like ``word``, or None if none is like it."""
    names = list(known)
    lower = {name.lower(): name for name in reversed(names)}
    found = difflib.get_close_matches(word[:60].lower(), list(lower)[:2000], n=1, cutoff=0.6)
    return lower[found[0]] if found else None


def nearest_part(word: str, known: Iterable[str]) -> str | None:
    """The known part whose name is most like ``word`` among those of its kind, as the letter says that it begins with: no
    resistor for a capacitor; of any kind where there is none of that letter, None where none is like it then."""
    names, letter = list(known), word.split()[-1][:1].lower() if word.split() else ""
    same = {name.lower(): name for name in reversed(names) if name.split() and name.split()[-1][:1].lower() == letter}
    found = difflib.get_close_matches(word[:60].lower(), list(same)[:2000], n=1, cutoff=0.0)
    return same[found[0]] if found else nearest(word, names)


def short(text: object, most: int = 60) -> str:
    """Text cut to what fits in a message."""
    plain = str(text)
    return plain if len(plain) <= most else plain[: most - 3] + "..."


def an(word: str) -> str:
    """The word with its article: "a valve", "an input"."""
    return f"an {word}" if word[:1].lower() in "aeio" else f"a {word}"


def where(path: Path) -> str:
    """A key path for a message."""
    return dotted(path)


def _one_line(text: str) -> str:
    """No control characters and no line breaks: one mistake is one line on stderr."""
    return "".join(c if c.isprintable() else " " for c in text)[:400]
