"""A marking as a person types it, to every meaning it may have, and the question that is left."""

import re
from dataclasses import dataclass

from firstglow.markings.codes import read_code
from firstglow.markings.colours import colour, near, read_colours
from firstglow.markings.meaning import UNIT, Meaning
from firstglow.markings.series import MarkingError
from firstglow.quantities import plain, show

_LONGEST = 80


@dataclass(frozen=True)
class Read:
    """meanings: at least one, the likeliest first; ask: what only the person can tell, None where there is one meaning."""

    meanings: tuple[Meaning, ...]
    ask: str | None

    def document(self) -> dict[str, object]:
        """CONTRACTS.md, marking."""
        return {"meanings": [m.row() for m in self.meanings], "ask": self.ask}


def read(text: str, of: str | None = None, layout: str = "bands") -> Read:
    """Every meaning of a marking. of: resistor, capacitor, inductor or None (not known); layout: how colours are laid
    (bands, dots, tubular, body-tip-spot). Raises MarkingError for what is no marking."""
    if of is not None and of not in UNIT:
        raise MarkingError(f"marking: {of}: no such part; one of {', '.join(UNIT)}; try --of capacitor")
    text = plain(text).strip()
    if not text or len(text) > _LONGEST:
        raise MarkingError(
            f"marking: {text[:20]!r}: nothing, or more than a marking; 1 to {_LONGEST} characters; try 4K7J"
        )
    if not re.sub("[Ω±°]", "", text).isascii():
        raise MarkingError(
            f"marking: {text}: signs that stand on no part; plain letters and figures, µ, Ω, ±; try 4K7J"
        )
    words = [w for w in re.split(r"[\s,/\-]+", text) if w]
    if all(w.isalpha() for w in words) and _any_colour(words):
        names = []
        for word in words:
            name = colour(word)
            if name is None:
                raise MarkingError(
                    f"marking: {word}: no colour; whole words or BK BN RD OG YE GN BU VT GY WH; try {near(word)}"
                )
            names.append(name)
        meanings = read_colours(names, of, layout)
    elif layout != "bands":
        raise MarkingError(f"marking: {text}: --as is for colours; colour words; try --as {layout} red green black")
    else:
        if re.search(r"\d,\d", text):
            thousands = re.search(r"(?<!\d)[1-9]\d{0,2}(,\d{3})+(?!\d)", text)
            mended = text.replace(",", "" if thousands else ".")
            raise MarkingError(
                f"marking: {text}: a comma; a point for decimals, nothing between thousands; try {mended}"
            )
        meanings = read_code(text, of)
    return Read(tuple(meanings), _question(text, meanings))


def _any_colour(words: list[str]) -> bool:
    """Whether a word is a colour; a code that two share counts, so that its own refusal is heard."""
    for word in words:
        try:
            if colour(word) is not None:
                return True
        except MarkingError:
            if len(word) > 1:
                return True
    return len(words) > 2


def _question(text: str, meanings: list[Meaning]) -> str | None:
    if len(meanings) == 1:
        return None
    kinds = list(dict.fromkeys(m.of for m in meanings))
    either = ", or ".join(dict.fromkeys(show(m.value, m.unit) for m in meanings))
    if len(kinds) > 1:
        return f"{text}: {either}? Say which part it is (--of {' or '.join(kinds)}), or measure it."
    if any("other end" in m.how for m in meanings):
        return f"{text}: {either}? Which end is the first band (nearer the end, tolerance apart)? Or measure it."
    return f"{text}: {either}? Measure it, or write it with its unit."
