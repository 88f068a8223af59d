"""A bench's own words in whatever is shown: valve or tube, plate or anode, HT or B+, chassis or ground.

The chassis is two things: the joint that volts are read to ("red to chassis", "chassis" alone), which a bench may call
its ground, and the metal box that hands and tools go into ("under the chassis"), which is a chassis on every bench.

One vocabulary inside; the other is put in where text leaves for a screen or a page. Names that a file or a readings file
uses (``6/V2 plate/shared``, ``HT1``) are names and stay as they are.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

OURS: Mapping[str, str] = {"valve": "valve", "plate": "plate", "ht": "HT", "chassis": "chassis"}
WIDTH = 80
_NAMES = r"(?<![\w/])\d+[a-z]?/[^/\n<>]+/\w+"  # ids of readings
# what stands before the box, never before the joint
_BOX = re.compile(r"(?:\b(?:the|a|bare|this|that|one|no|its|each|every)\s+|\blive-)$", re.IGNORECASE)
_GAPS = re.compile(r"( {2,})")
_LEAVE = re.compile(r"<style.*?</style>|<script.*?</script>|<[^>]*>", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Spoken:
    """How a bench says things, as its file has it. words: as ``Bench.words``."""

    words: Mapping[str, str]

    @property
    def ours(self) -> bool:
        """Is it the vocabulary inside?"""
        return all(self.words.get(key, own) == own for key, own in OURS.items())

    def said(self, text: str) -> str:
        """A text, its columns kept where they are."""
        if not self._pattern:
            return text
        lines = text.split("\n")
        return "\n".join(self._line(line, before) for line, before in zip(lines, ["", *lines], strict=False))

    def page(self, html: str) -> str:
        """A page: the text between its tags."""
        kept = _LEAVE.findall(html)
        between = _LEAVE.split(html)
        if self._pattern:
            between = [self._put(text, before) for text, before in zip(between, ["", *between], strict=False)]
        return "".join(a + b for a, b in zip(between, [*kept, ""], strict=True))

    def document(self, made: Any) -> Any:
        """A document of texts, lists and tables, every text in it said so; what is laid out from it has its real lengths."""
        if self._pattern is None:
            return made
        if isinstance(made, str):
            return self._put(made)
        if isinstance(made, Mapping):
            return {key: self.document(value) for key, value in made.items()}
        if isinstance(made, Sequence):
            return [self.document(value) for value in made]
        return made

    def _line(self, line: str, before: str) -> str:
        """Each cell of a line, and the gap after it as much wider as the cell became narrower. before: the line above."""
        out, off = "", 0
        for n, piece in enumerate(_GAPS.split(line)):
            if n % 2:
                out += " " * max(1, len(piece) + off)
                off = 0
            else:
                new = self._put(piece, before if not "".join(out).strip() else "")
                out, off = out + new, off + len(piece) - len(new)
        out = out.rstrip() if line == line.rstrip() else out
        return out if len(out) <= WIDTH or len(out) <= len(line) else re.sub(r"\b[Aa]n (?=anode)", "", out)

    @property
    def _changed(self) -> dict[str, str]:
        """Our word -> the bench's, of those that differ."""
        words = {own: self.words.get(key, own) for key, own in OURS.items()}
        if words["chassis"] == "chassis":
            words["ground"] = "chassis"
        return {own: said for own, said in words.items() if own != said}

    @property
    def _pattern(self) -> "re.Pattern[str] | None":
        names = "|".join(map(re.escape, self._changed))
        return (
            re.compile(rf"(?P<name>{_NAMES})|(?P<a>\b[Aa]n? )?\b(?P<word>(?i:{names}))(?P<s>[sS]?)\b")
            if names
            else None
        )

    def _put(self, text: str, before: str = "") -> str:
        """A text with the bench's words in it. before: what it goes on from, above."""
        pattern, changed = self._pattern, self._changed
        assert pattern is not None

        def one(found: re.Match[str]) -> str:
            word = found["word"]
            own = next((w for w in changed if word is not None and (w == word or w == word.lower())), None)
            if word is None or own is None:  # a name, or letters that only look like HT
                return found[0]
            if own == "chassis" and (found["a"] or self._is_box(text[: found.start("word")], before)):
                return found[0]
            said = changed[own]
            if own != "HT":
                said = said.upper() if word.isupper() else said.capitalize() if word[0].isupper() else said
            article = found["a"] or ""
            if article:
                article = article[0] + ("n " if said[0].lower() in "aeio" else " ")
            return f"{article}{said}{found['s']}"

        return pattern.sub(one, text)

    @staticmethod
    def _is_box(text: str, before: str) -> bool:
        return bool(_BOX.search(text if text.strip() else f"{before.rstrip()} "))
