"""Which lead of a part a wrong lead's name may be meant for: never one of another function."""

import re

from firstglow.amplifier.drafts import Draft, lead_names
from firstglow.amplifier.mistakes import nearest
from firstglow.amplifier.remedies import brothers


def near_leads(draft: Draft, word: str) -> list[str]:
    """The leads whose names are near in letters: one, or all that differ by their figure alone where the word has none
    ("plate" of a rectifier with two); empty where none is near.

    Of a winding that is named, its own: "ht 1" of a winding 0-220 V is its 0. Never another winding's: a heater lead
    joined to chassis in place of an HT one is a short of the HT. Never a brother: "plate 3" is not plate 2.
    """
    names = lead_names(draft)
    words = word.split()
    own = [name for name in names if len(words) > 1 and name.startswith(f"{words[0]} ")]
    if len(own) > 1 and words[-1] in {"1", "2"}:
        return [own[0] if words[-1] == "1" else own[-1]]
    pool = [name for name in own or names if not brothers(name, word)]
    numbered = re.findall(r"\d+", word)
    if numbered:
        pool = [name for name in pool if re.findall(r"\d+", name) == numbered]
    best = nearest(word, pool)
    return [name for name in pool if best is not None and _bare(name) == _bare(best)]


def _bare(name: str) -> str:
    return re.sub(r" ?\d+$", "", name)
