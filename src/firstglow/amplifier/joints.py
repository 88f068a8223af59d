"""Which terminals are soldered together: names and terminals in, joints with one canonical name out."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from firstglow.amplifier.drafts import Draft, Place, lead_names, lead_of
from firstglow.amplifier.glass import TERMINALS, heater_leads, pins, sections_of, terminal_of
from firstglow.amplifier.mistakes import Mistakes, nearest, short
from firstglow.amplifier.near_leads import near_leads

Node = tuple[str, str, str]  # ("lead", part, lead) or ("name", joint, "")

SPECIAL = ("chassis", "line", "neutral", "earth")
_FREE = re.compile(r"[A-Za-z0-9+\-][A-Za-z0-9+\-_./ ]{0,39}")
_PARTLIKE = re.compile(r"[A-Z]{1,3}\d+[A-Za-z]?")
# Which terminal names a joint that has no name of its own: what a probe would be told to go to.
_RANK = (
    "valve",
    "rectifier",
    "output transformer",
    "transformer",
    "input",
    "load",
    "pot",
    "diode",
    "capacitor",
    "choke",
    "resistor",
)


def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts R2 before R10."""
    return tuple((0, int(t), "") if t.isdigit() else (1, 0, t) for t in re.findall(r"\d+|\D+", text))


@dataclass(frozen=True, slots=True)
class Missing:
    """A line that names a part which is not there: the place, its owner, and the lead asked for."""

    place: Place
    owner: str
    lead: str


@dataclass
class Scopes:
    """Who is called what, in which channel."""

    channels: tuple[str, ...]
    mistakes: Mistakes
    drafts: dict[str, Draft] = field(default_factory=dict)
    names: dict[tuple[str | None, str], str] = field(default_factory=dict)
    shared: set[str] = field(default_factory=set)
    missing: dict[str, list[Missing]] = field(default_factory=dict)

    def add(self, draft: Draft) -> None:
        """Make a part known under its local name, its canonical name, and channel + local name."""
        self.drafts[draft.name] = draft
        self.names.setdefault((draft.channel, draft.local), draft.name)
        self.names.setdefault((None, draft.name), draft.name)

    def part(self, word: str, channel: str | None) -> str | None:
        """Canonical name of a part as called in a channel, or None."""
        for key in ((channel, word), (None, word)):
            if key in self.names and self.names[key] in self.drafts:
                return self.names[key]
        return None

    def split(self, text: str, channel: str | None) -> tuple[str | None, list[str]]:
        """A leading channel name sets the channel; the rest is words."""
        words = text.split()
        if len(words) > 1 and words[0] in self.channels:
            return words[0], words[1:]
        return channel, words

    def find(self, text: str, channel: str | None) -> tuple[str | None, str, str | None]:
        """(part or None, rest of the words, channel): the part that the text begins with."""
        inside, words = self.split(text, channel)
        for count in range(min(5, len(words)), 0, -1):
            part = self.part(" ".join(words[:count]), inside)
            if part is not None:
                return part, " ".join(words[count:]), inside
        return None, " ".join(words), inside

    def free_name(self, text: str, channel: str | None) -> str | None:
        """The free joint name in the text, or None if it names a part's lead."""
        part, rest, _ = self.find(text, channel)
        return None if part is not None or self._on_glass(text, channel) else rest

    def node(self, place: Place, owner: str) -> Node | None:
        """What a place means; None (with the mistake noted) if it means nothing."""
        found = self._node(place, owner)
        self.mistakes.broken |= found is None
        return found

    def _node(self, place: Place, owner: str) -> Node | None:
        text = " ".join(place.text.split())
        glass = self._on_glass(text, place.channel)
        if glass is not None:
            return self._glass_node(place, owner, *glass)
        part, rest, channel = self.find(text, place.channel)
        if part is not None:
            draft = self.drafts[part]
            lead = lead_of(draft, rest) if rest else None
            if lead is not None:
                return ("lead", part, lead)
            if draft.lost:
                return None
            self._no_lead(place, owner, draft, rest)
            return None
        if re.search(r"\d,\d", rest):
            found, allowed = f"{short(text)!r} has a comma", "a point for decimals, nothing between thousands"
            self.mistakes.add(place.line, owner, found, allowed, f'"{text.replace(",", ".")}"')
            return None
        if not _FREE.fullmatch(rest):
            self.mistakes.add(
                place.line,
                owner,
                f"{short(text)!r} cannot name a joint",
                "letters, figures, spaces, + and -, at most 40",
                '"HT1"',
            )
            return None
        if self._bare_value(place, owner, rest):
            return None
        words = rest.split()
        if len(words) > 1 and _PARTLIKE.fullmatch(words[0]):
            self._no_part(place, owner, text, words)
            return None
        if rest in SPECIAL or channel is None or (rest in self.shared and channel == place.channel):
            return ("name", rest, "")
        return ("name", f"{channel} {rest}", "")

    def _on_glass(self, text: str, channel: str | None) -> tuple[list[Draft], list[str]] | None:
        """(sections of the glass, words) where the text names a valve's heater or pin: "V1 heater 1", "V3 pin 5"."""
        inside, words = self.split(text, channel)
        if len(words) not in {2, 3} or words[1] not in TERMINALS:
            return None
        sections = sections_of(self.drafts.values(), words[0], inside)
        return (sections, words) if sections else None

    def _glass_node(self, place: Place, owner: str, sections: list[Draft], words: list[str]) -> Node | None:
        terminal = terminal_of(sections, words[1], words[2]) if len(words) == 3 else None
        if terminal is not None:
            return ("lead", *terminal)
        text = short(" ".join(place.text.split()))
        found = f"{text!r} is a heater, not one end of it" if words[1:] == ["heater"] else f"there is no {text!r}"
        numbers = ", ".join(str(n) for n in sorted(pins(sections)))
        ends = [f"{words[0]} heater {end}" for end in heater_leads(sections)]
        allowed = f"its pins: {numbers}; its heater: {', '.join(ends)}"
        meant = " or ".join(ends) if words[1] == "heater" else f"the pin of {words[0]}"
        self.mistakes.add(place.line, owner, found, allowed, f"{meant}, as the drawing has it")
        return None

    def _no_lead(self, place: Place, owner: str, draft: Draft, rest: str) -> None:
        """A part named without its lead, or with one that it has not."""
        text, part = short(" ".join(place.text.split())), draft.name
        names = lead_names(draft)
        near = near_leads(draft, rest) if rest else self._unnamed(draft)
        called = [f"{self.called(part, place.channel)} {name}" for name in near]
        called = called or ([other] if rest and (other := self._other_part(draft, rest, place.channel)) else [])
        plain = f"{' or '.join(called) or f'the lead of {part}'}, as the drawing has it"
        remedy = f'"{called[0]}"' if len(called) == 1 else plain
        found = f"{text!r}: {part} has no lead {short(rest)!r}" if rest else f"{text!r} is a part, not a joint"
        if draft.kind in {"valve", "rectifier"}:
            names = (*names, *(f"heater {end}" for end in heater_leads([draft])))
        self.mistakes.add(place.line, owner, found, f"leads of {part}: {', '.join(names)}", remedy)

    def _other_part(self, draft: Draft, lead: str, channel: str | None) -> str | None:
        """The one part with such a name whose lead of that name no line mentions: "V3 grid" for a rectifier V3 is meant
        for V2 where nothing else is on V2's grid; None where there is no such part or more than one."""
        here = [d for d in self.drafts.values() if d.local[:1] == draft.local[:1] and d.channel in {channel, None}]
        said = self._said()
        free = [(d, x) for d in here if (x := lead_of(d, lead)) is not None and (d.name, x) not in said]
        return f"{self.called(free[0][0].name, channel)} {free[0][1]}" if len(free) == 1 else None

    def _said(self) -> set[tuple[str, str]]:
        """(part, lead) of every lead that has a place, or that another line names."""
        found = {(d.name, lead) for d in self.drafts.values() for lead in d.leads}
        for d in self.drafts.values():
            for place in [*d.leads.values(), *(p for _, p in d.also), *(via.to for via in d.vias)]:
                part, rest, _ = self.find(place.text, place.channel)
                lead = lead_of(self.drafts[part], rest) if part is not None else None
                if part is not None and lead is not None:
                    found.add((part, lead))
        return found

    def _bare_value(self, place: Place, owner: str, text: str) -> bool:
        """Whether the text is a part's value without its unit and the joint behind it: "680 chassis"; noted if so.

        It would else be the name of a joint of its own, and the cathode would stand on nothing."""
        number, _, behind = text.partition(" ")
        if not behind or not re.fullmatch(r"\d[\d.]*", number):
            return False
        part, rest, _ = self.find(behind, place.channel)
        named = part is not None and lead_of(self.drafts[part], rest) is not None
        said = {p.text for d in self.drafts.values() for p in [*d.leads.values(), *(via.to for via in d.vias)]}
        if behind not in SPECIAL and not named and behind not in said:
            return False
        right = f"{number}u" if number.startswith(("0", ".")) else f"{number}R"
        found = f"{short(text)!r}: {number} has no unit: ohms or farads?"
        self.mistakes.add(place.line, owner, found, "R, k, M; p, n, u", f'"{right} {behind}"')
        return True

    def _unnamed(self, draft: Draft) -> list[str]:
        """The one lead of a part that no line gives a place or mentions; empty where several might be meant."""
        said = self._said()
        free = [x for x in lead_names(draft) if (draft.name, x) not in said]
        return free if len(free) == 1 else []

    def called(self, part: str, channel: str | None) -> str:
        """How a part is called in a channel's own table."""
        draft = self.drafts[part]
        return draft.local if draft.channel in {channel, None} else part

    def _no_part(self, place: Place, owner: str, text: str, words: list[str]) -> None:
        self.missing.setdefault(words[0], []).append(Missing(place, owner, " ".join(words[1:])))

    def note_missing(self, place: Place, owner: str) -> bool:
        """Whether the place names a part that is not there; noted, and told with the other lines that name it."""
        _, words = self.split(place.text, place.channel)
        if len(words) < 2 or not _PARTLIKE.fullmatch(words[0]):
            return False
        self._no_part(place, owner, place.text, words)
        self.mistakes.broken = True
        return True

    def tell_missing(self) -> None:
        """One mistake for each part that is named and not there, however many lines name it."""
        for word, asked in self.missing.items():
            culprit = self._misspelt(word, asked)
            if culprit is not None and not self.mistakes.blames(culprit.name):
                found = f"no line names {culprit.local}, and {_lines(asked)} {word}, which is no part"
                self.mistakes.add(culprit.path, culprit.local, found, "one name for one part", word)
            elif culprit is None:
                first = min(asked, key=lambda m: m.place.line)
                text = " ".join(first.place.text.split())
                best = self._meant(word, first)
                more = f" ({_lines(asked)} it)" if len({m.place.line for m in asked}) > 1 else ""
                allowed = "a lead of a part, or a joint's own name"
                if best is not None and best.lower() == word.lower():
                    allowed = f"{best}: capital and small letters count"
                remedy = f'"{best} {first.lead}"' if best else f"a line for {word}, or the part that is meant"
                found = f"{short(text)!r}: there is no part {word}{more}"
                self.mistakes.add(first.place.line, first.owner, found, allowed, remedy)

    def _misspelt(self, word: str, asked: list[Missing]) -> Draft | None:
        """The one part that no line names, has every lead asked for, and is called nearly so."""
        texts = {p.text for d in self.drafts.values() for p in [*d.leads.values(), *(x for _, x in d.also)]}
        named = {t.split(" ")[0] for t in texts}
        found = {
            d.local: d
            for d in self.drafts.values()
            if d.local not in named
            and d.line
            and (d.local.startswith(word) or word.startswith(d.local) or d.local[:-1] == word[:-1])
            and len(d.local) > 1
            and (d.lost or all(m.lead in d.windings or lead_of(d, m.lead) is not None for m in asked))
        }
        return next(iter(found.values())) if len(found) == 1 else None

    def _meant(self, word: str, first: Missing) -> str | None:
        """The part with that lead whose name is like the word: another section of its glass, or a slip; else None."""
        inside = {first.place.channel, None}
        here = [d for d in self.drafts.values() if d.channel in inside and lead_of(d, first.lead) is not None]
        sections = [d.local for d in here if d.envelope and d.local[:-1] == word]
        return nearest(word, sections or [d.local for d in here]) or (sections[0] if sections else None)


def _lines(asked: list[Missing]) -> str:
    lines = sorted({m.place.line for m in asked})
    return f"line {lines[0]} names" if len(lines) == 1 else f"lines {', '.join(str(n) for n in lines[:8])} name"


class Groups:
    """Sets of nodes that are one joint (union by name, deterministic whatever the order of the file)."""

    def __init__(self) -> None:
        self.above: dict[Node, Node] = {}

    def add(self, node: Node) -> None:
        """A node of its own, if not known yet."""
        self.above.setdefault(node, node)

    def top(self, node: Node) -> Node:
        """The node that stands for the joint."""
        self.add(node)
        while self.above[node] != node:
            self.above[node] = self.above[self.above[node]]
            node = self.above[node]
        return node

    def join(self, one: Node, two: Node) -> None:
        """Solder two nodes together."""
        a, b = self.top(one), self.top(two)
        if a != b:
            self.above[max(a, b)] = min(a, b)

    def sets(self) -> list[frozenset[Node]]:
        """All joints."""
        found: dict[Node, set[Node]] = {}
        for node in self.above:
            found.setdefault(self.top(node), set()).add(node)
        return [frozenset(s) for s in found.values()]

    def alone(self, node: Node) -> bool:
        """True if nothing else is on the node's joint."""
        top = self.top(node)
        return not any(other != node and self.top(other) == top for other in self.above)

    def split_off(self, node: Node) -> None:
        """Unsolder one node from its joint; what is left stays together."""
        rest = sorted(n for n in self.above if n != node and self.top(n) == self.top(node))
        self.above[node] = node
        for other in rest:
            self.above[other] = rest[0]

    def drop(self, node: Node) -> None:
        """Take a node out altogether."""
        self.split_off(node)
        del self.above[node]


def terminal(node: Node) -> str:
    """``C3 +`` for a lead, the name for a name."""
    return f"{node[1]} {node[2]}" if node[0] == "lead" else node[1]


def canonical(nodes: Iterable[Node], kinds: Mapping[str, str]) -> str:
    """The one name of a joint: chassis and mains joints, else its own name, else the terminal a probe goes to."""
    names = [n[1] for n in nodes if n[0] == "name"]
    for special in SPECIAL:
        if special in names:
            return special
    if names:
        return min(names, key=lambda n: (len(n), natural(n)))
    leads = [n for n in nodes if n[0] == "lead"]
    best = min(
        leads,
        key=lambda n: (_RANK.index(kinds[n[1]]) if kinds[n[1]] in _RANK else len(_RANK), natural(n[1]), natural(n[2])),
    )
    return terminal(best)
