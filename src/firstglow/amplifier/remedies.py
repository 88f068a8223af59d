"""Words for problems: lines to paste, free names, lines of the file."""

import re
from difflib import SequenceMatcher

from firstglow.amplifier.mistakes import nearest
from firstglow.amplifier.model import Amplifier, Part, Problem
from firstglow.quantities import code

MAINS_SIDE = ("line", "neutral", "earth")
CLOSE = 0.75  # likeness of two names that differ by a slip of the fingers


def line_of(part: Part) -> int:
    """Line of a part in the file, 1 where the reader made it."""
    return part.origin.line or 1


def problem(amplifier: Amplifier, part: Part, about: str, found: str, allowed: str, remedy: str) -> Problem:
    """A problem at a part's line."""
    return Problem(amplifier.file, line_of(part), about, found, allowed, remedy)


def local(amplifier: Amplifier, name: str, channel: str | None) -> str:
    """A name as a line of that channel writes it: without the channel in front."""
    if not channel:
        return name
    head, _, lead = name.partition(" ")
    called = next(iter(amplifier.parts[head].aliases), "") if head in amplifier.parts else ""
    own = f"{called} {lead}".strip() if called.startswith(f"{channel} ") else name
    return own.removeprefix(f"{channel} ")


def free_name(amplifier: Amplifier, letter: str) -> str:
    """A part name of that letter that nothing uses: R99, then R100 ..."""
    taken = {p.split(" ")[-1] for p in amplifier.parts}
    number = 99
    while f"{letter}{number}" in taken:
        number += 1
    return f"{letter}{number}"


def resistor_line(amplifier: Amplifier, ohms: str, a: str, b: str, channel: str | None = None) -> str:
    """A resistor to add, as a line of the file."""
    name = free_name(amplifier, "R")
    return f'{name} = ["{ohms}", "{local(amplifier, a, channel)}", "{local(amplifier, b, channel)}"]'


def wire_line(amplifier: Amplifier, a: str, b: str, channel: str | None = None) -> str:
    """A wire to add, as a line of the file."""
    name = free_name(amplifier, "W")
    return f'{name} = ["wire", "{local(amplifier, a, channel)}", "{local(amplifier, b, channel)}"]'


def capacitor_line(amplifier: Amplifier, part: Part, plus: str, minus: str) -> str:
    """The line of a capacitor with other joints: ``C5 = ["47u 100V", "chassis", "bias raw"]``."""
    if part.words.get("can"):  # one line for several sections: no line of its own to paste over
        return f"the section {part.name} of {part.words['can']} with its plus lead on {plus}"
    what = code(part.value("farads"), "F")
    if "volts" in part.values:
        what += f" {part.value('volts'):g}V"
    name = local(amplifier, part.name, part.channel)
    joints = (local(amplifier, j, part.channel) for j in (plus, minus))
    return f'{name} = ["{what}", ' + ", ".join(f'"{j}"' for j in joints) + "]"


def like(amplifier: Amplifier, word: str) -> str | None:
    """The joint or terminal that a loose joint's name is most likely meant to be, or None.

    Never the mains side: nobody is sent to line or neutral by a guess. Never another number, HT1 is not HT2, but the one
    before or after it where only one of them is there: HT4 that nothing else names, beside an HT3.
    """
    known: list[str] = []
    own: list[str] = []
    for joint in amplifier.joints.values():
        named = len(joint.terminals) > 1 or joint.name not in joint.terminals
        if joint.name != word and joint.name not in MAINS_SIDE and named:
            known += [joint.name, *joint.aliases, *joint.terminals]
            own += [n for n in (joint.name, *joint.aliases) if n not in joint.terminals]
    found = nearest(word, [n for n in known if _figures(n) == _figures(word)])
    return found if found is not None and _slip(word, found) else _beside(word, own)


def _beside(word: str, names: list[str]) -> str | None:
    """The name that counts one less or one more than the word, where there is just one such: HT3 for HT4."""
    numbered = re.fullmatch(r"(.*?)(\d+)(\D*)", word)
    if numbered is None:
        return None
    before, number, behind = numbered.group(1), int(numbered.group(2)), numbered.group(3)
    near = [n for n in (f"{before}{number - 1}{behind}", f"{before}{number + 1}{behind}") if n in names]
    return near[0] if len(near) == 1 else None


def _slip(word: str, other: str) -> bool:
    """Whether one name may be a slip of the fingers for the other: "bias a" and "bias b", HT1 and HT2 are not."""
    if brothers(word, other):
        return False
    return SequenceMatcher(None, word.lower(), other.lower()).ratio() >= CLOSE


def brothers(word: str, other: str) -> bool:
    """Whether two names differ by nothing but a letter or figure that tells things of one sort apart: "plate a" and
    "plate b", "heat 1" and "heat 2"."""
    mine, its = word.lower().split(), other.lower().split()
    apart = [(a, b) for a, b in zip(mine, its, strict=False) if a != b]
    return len(mine) == len(its) and bool(apart) and all(len(a) == len(b) == 1 for a, b in apart)


def _figures(name: str) -> tuple[str, ...]:
    """The numbers in a name; a figure struck twice (HT33) counts once."""
    return tuple(re.sub(r"(\d)\1+", r"\1", number) for number in re.findall(r"\d+", name))
