"""What the drawing's structure settles about its feedback loops: which link lifts each, and which way round it is."""

from collections.abc import Mapping
from dataclasses import replace

from firstglow.amplifier.digest import digest
from firstglow.amplifier.graph import Branch, reach
from firstglow.amplifier.look import Look, look_at
from firstglow.amplifier.loop_sign import follows, loop_sign, swing
from firstglow.amplifier.model import Amplifier, DefaultUsed, Link, Part, Problem
from firstglow.amplifier.remedies import local, problem
from firstglow.amplifier.role_types import Loop
from firstglow.amplifier.roles_loops import loops
from firstglow.amplifier.roles_output import output_valves

_PASSES = frozenset({"resistance", "wire"})


def drawn_loops(look: Look) -> tuple[Loop, ...]:
    """Every loop of the amplifier as its joints say."""
    return loops(look, output_valves(look))


def opens(look: Look, loop: Loop, link: Link) -> bool:
    """Whether lifting the link parts the loop's source from its target, as far as resistors and wires go.

    A capacitor beside the loop's resistor (a few hundred picofarads) stays: at mid-band it passes next to nothing.
    """
    inside = set(loop.parts) - {link.part}
    way = reach(look.net, [loop.source], lambda b, _: b.sort in _PASSES and b.part in inside)
    return loop.target not in way


def feedback_links(look: Look, found: tuple[Loop, ...]) -> Mapping[str, Loop]:
    """Links that lift the outer loop -> that loop: one a channel, recognised by where it stands and not by its name.

    The outer loop comes from the loudspeaker side where one does, and spans the most valves. Where the structure shows
    none (a fragment), a link that says "feedback" is taken at its word: see ``settle_links``.
    """
    out: dict[str, Loop] = {}
    links = look.amplifier.links.values()
    for channel in dict.fromkeys(loop.channel for loop in found):
        mine = [
            (loop, k) for loop in found if loop.channel == channel and loop.kind != "cathode winding" for k in links
        ]
        mine = [(loop, k) for loop, k in mine if k.part in loop.parts and opens(look, loop, k)]
        if mine:
            loop, link = max(mine, key=lambda pair: _reach(look, pair[0]))
            out[link.name] = loop
    return out


def _reach(look: Look, loop: Loop) -> tuple[bool, int]:
    way = swing(look, loop.target, loop.transformer)
    return loop.kind == "loudspeaker", way.valves if way else 0


def settle_links(amplifier: Amplifier, said: Mapping[str, frozenset[str]]) -> Amplifier:
    """The links with their loops known: which of them lift one, by which lead, and where the free end goes.

    said: link -> which of "lead" and "tie" the file states; the rest follows from the loop: the lead on the
    loudspeaker side is lifted and tied to chassis, so that the first stage keeps its dc.
    """
    if not amplifier.links:
        return amplifier
    look = look_at(amplifier)
    drawn = drawn_loops(look)
    found = feedback_links(look, drawn)
    looped = {loop.channel for loop in drawn}
    links = {}
    for name, link in amplifier.links.items():
        loop, stated = found.get(name), said.get(name, frozenset())
        if loop is None:
            word = local(amplifier, name, link.channel) == "feedback" and link.channel not in looped
            links[name] = replace(link, feedback=word)
            continue
        lead = link.lead if "lead" in stated else _lead(look, loop, link)
        tie = link.tie if "tie" in stated else "chassis"
        links[name] = replace(link, lead=lead, tie=tie, feedback=True)
    return replace(amplifier, links=links)


def _lead(look: Look, loop: Loop, link: Link) -> str:
    """The lead on the side that the loop comes from."""
    inside = set(loop.parts) - {link.part}

    def may(b: Branch, _: str) -> bool:
        return b.part in inside

    way = reach(look.net, [loop.source], may, {loop.target})
    leads = look.part(link.part).leads
    return next((lead for lead, joint in leads.items() if joint in way and joint != loop.target), link.lead)


def drawn_phases(amplifier: Amplifier) -> Mapping[str, str]:
    """Output transformers whose phase the drawing does not state -> the plate that makes their loop negative."""
    unsaid = [p for p in amplifier.of_kind("output transformer") if "in_phase" not in p.words]
    if not unsaid:
        return {}
    look = look_at(amplifier)
    found = [loop for loop in drawn_loops(look) if loop.kind == "loudspeaker"]
    out = {}
    for part in unsaid:
        mine = [loop for loop in found if loop.transformer == part.name]
        spans = [(way, side) for x in mine if (way := swing(look, x.target, part.name)) and (side := follows(look, x))]
        if spans:
            way, side = max(spans, key=lambda pair: pair[0].valves)
            out[part.name] = "b" if way.sign * side > 0 else "a"
    return out


def with_phases(amplifier: Amplifier, phases: Mapping[str, str]) -> Amplifier:
    """The amplifier with the phase of every output transformer that states none, listed among its defaults."""
    unsaid = [p for p in amplifier.of_kind("output transformer") if "in_phase" not in p.words]
    if not unsaid:
        return amplifier
    parts, defaults = dict(amplifier.parts), list(amplifier.defaults)
    for part in unsaid:
        phase = phases.get(part.name)
        why = (
            "what makes the drawn loop negative; proved cold on rung 1 and, lifted, proved on rung 7"
            if phase
            else "either way round is as likely"
        )
        defaults.append(DefaultUsed(part.name, "in_phase", phase or "a", why))
        if phase:
            parts[part.name] = _phased(part, phase)
    changed = replace(amplifier, parts=parts, defaults=tuple(defaults))
    return replace(changed, digest=digest(changed))


def _phased(part: Part, phase: str) -> Part:
    """The part with its secondary's dots so that its hot end follows plate a or b; the reader makes them for a."""
    turned = tuple(
        replace(w, start=w.end, end=w.start) if w.role == "secondary" and phase == "b" else w for w in part.windings
    )
    return replace(part, windings=turned, words={**part.words, "in_phase": phase})


def positive_loops(look: Look) -> list[Problem]:
    """A problem for each outer loop that is drawn the wrong way round: it would howl."""
    outer: dict[str, Loop] = {}
    for loop in (x for x in drawn_loops(look) if x.kind == "loudspeaker"):
        if loop.transformer not in outer or _reach(look, loop) > _reach(look, outer[loop.transformer]):
            outer[loop.transformer] = loop
    return [howls(look.amplifier, loop) for loop in outer.values() if loop_sign(look, loop) == 1]


def howls(amplifier: Amplifier, loop: Loop) -> Problem:
    """What is said of a loop that feeds back the wrong way round, at its transformer's line."""
    part = amplifier.parts[loop.transformer]
    now = "b" if part.words.get("in_phase", "a") == "b" else "a"
    found = f"the loop from {loop.source} to {loop.target} is positive with in_phase = {now!r}: it would howl"
    bare = local(amplifier, part.name, part.channel)
    allowed = (
        f"the other plate named in_phase, or the two plate leads of {bare} exchanged, so that the loop is negative"
    )
    return problem(amplifier, part, part.name, found, allowed, f'in_phase = "{"a" if now == "b" else "b"}"')
