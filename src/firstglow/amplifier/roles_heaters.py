"""Heater lines: which winding or dc supply heats which glass, and what ties the line to chassis."""

from collections.abc import Iterable
from dataclasses import dataclass

from firstglow.amplifier.bases import find
from firstglow.amplifier.graph import Branch, is_mains_secondary, reach
from firstglow.amplifier.look import Look
from firstglow.amplifier.model import Winding
from firstglow.amplifier.role_types import HeaterWinding, Reference
from firstglow.amplifier.supplies import Supply

LINE_OHMS = 30.0  # a resistor in a heater line drops volts; above this it ties the line to something else [ohm]
FEED_OHMS = (
    100.0  # the same from rectified volts, which may be far above the heater's own, as ``supplies`` has it [ohm]
)


@dataclass(frozen=True, slots=True)
class _Feed:
    """What feeds a line: name, end joints, tap joint, windings, volts rms."""

    name: str
    ends: tuple[str, str]
    transformer: str | None = None
    windings: tuple[str, ...] = ()
    centre: str | None = None
    volts: float | None = None


def heater_lines(look: Look) -> tuple[HeaterWinding, ...]:
    """Every heater line, in the order of its first heater."""
    out: list[HeaterWinding] = []
    seen: set[str] = set()
    for heater in look.amplifier.of_kind("heater"):
        if heater.name in seen:
            continue
        joints = _line_joints(look, heater.leads.values(), LINE_OHMS)
        spans, supply = _spans(look, joints), _supply(look, joints)
        if not spans and supply is None:
            further = _line_joints(look, heater.leads.values(), FEED_OHMS)
            supply = _supply(look, further)
            joints = further if supply is not None else joints
        here = {b.part for j in joints for b in look.net.at[j] if b.sort == "heater"}
        seen |= here | {heater.name}
        out.append(_line(look, joints, here | {heater.name}, spans, supply))
    return tuple(out)


def _supply(look: Look, joints: frozenset[str]) -> Supply | None:
    """The rectified supply that heats a line."""
    return next((s for s in look.supplies if s.use == "heater" and {s.joint, s.ret} & joints), None)


def _line_joints(look: Look, starts: Iterable[str], most: float) -> frozenset[str]:
    """Joints of one heater line, through resistors below ``most`` [ohm], chassis left out."""

    def may(b: Branch, joint: str) -> bool:
        if joint == "chassis":
            return False
        if b.sort in {"wire", "heater", "lamp"} or (b.sort == "resistance" and b.ohms < most):
            return True
        return is_mains_secondary(look.net, b)

    found = reach(look.net, [j for j in starts if j != "chassis"], may, {"chassis"})
    return frozenset(found) - {"chassis"}


def _spans(look: Look, joints: frozenset[str]) -> list[tuple[str, tuple[Winding, ...]]]:
    """(transformer or ac bench supply, its windings on the line from one end to the other)."""
    out: list[tuple[str, tuple[Winding, ...]]] = []
    for part in look.amplifier.of_kind("transformer"):
        mine = [w for w in part.windings if w.role != "primary" and {part.leads[w.start], part.leads[w.end]} & joints]
        while mine:
            chain = [mine.pop(0)]
            grown = True
            while grown:
                grown = False
                for w in list(mine):
                    if {w.start, w.end} & {x for c in chain for x in (c.start, c.end)}:
                        chain.append(w)
                        mine.remove(w)
                        grown = True
            out.append((part.name, tuple(w for w in part.windings if w in chain)))
    return out


def _line(
    look: Look,
    joints: frozenset[str],
    heaters: set[str],
    spans: list[tuple[str, tuple[Winding, ...]]],
    supply: Supply | None,
) -> HeaterWinding:
    parts = [look.part(h) for h in look.amplifier.parts if h in heaters]
    envelopes = tuple(dict.fromkeys(p.envelope for p in parts if p.envelope is not None))
    glass = {p.envelope for p in look.amplifier.of_kind("rectifier")}
    lamps = tuple(p.name for p in look.amplifier.of_kind("lamp") if set(p.leads.values()) & joints)
    feed = _Feed(supply.name, (supply.joint, supply.ret)) if supply is not None else _ac(look, joints, spans)
    everywhere = joints | set(feed.ends)
    reference, tied, joint = _reference(look, everywhere, feed.ends, feed.centre, envelopes)
    return HeaterWinding(
        feed.name,
        feed.transformer,
        feed.windings,
        feed.ends,
        feed.centre,
        reference,
        tied,
        joint,
        envelopes,
        tuple(e for e in envelopes if e in glass),
        lamps,
        supply.name if supply else None,
        feed.volts,
    )


def _ac(look: Look, joints: frozenset[str], spans: list[tuple[str, tuple[Winding, ...]]]) -> _Feed:
    """What feeds an ac line; its first winding where there are more."""
    if not spans:
        bench = next((p for p in look.amplifier.of_kind("supply") if set(p.leads.values()) & joints), None)
        if bench is not None:
            return _Feed(bench.name, (bench.leads["+"], bench.leads["-"]), volts=bench.value("volts"))
        ends = tuple(sorted(joints)) or ("chassis",)
        return _Feed(ends[0], (ends[0], ends[-1]))
    transformer, chain = spans[0]
    part = look.part(transformer)
    leads = [lead for w in chain for lead in (w.start, w.end)]
    outer = [lead for lead in leads if leads.count(lead) == 1] or [chain[0].start, chain[-1].end]
    inner = dict.fromkeys(lead for lead in leads if leads.count(lead) > 1)
    taps = [part.leads[lead] for lead in inner if len(look.amplifier.joints[part.leads[lead]].terminals) > 1]
    return _Feed(
        f"{transformer} {outer[0].rsplit(' ', 1)[0]}",
        (part.leads[outer[0]], part.leads[outer[-1]]),
        transformer,
        tuple(w.name for w in chain),
        taps[0] if taps else None,
        sum(w.turns.value for w in chain),
    )


def _reference(
    look: Look, joints: frozenset[str], ends: tuple[str, str], centre: str | None, envelopes: tuple[str, ...]
) -> tuple[Reference, tuple[str, ...], str | None]:
    """(what ties a line to chassis, through which parts, to which joint)."""
    if any(j in look.positive for j in (*joints, *ends)):
        joint = next(j for j in (*ends, *sorted(joints)) if j in look.positive)
        return "at HT", (), joint
    direct = {p.envelope for p in look.amplifier.of_kind("valve") if (base := find(p.type or "")) and base.direct}
    if set(envelopes) & direct:
        valve = next(p for p in look.amplifier.of_kind("valve") if p.envelope in set(envelopes) & direct)
        return "at cathode", (), valve.leads["cathode"]
    if "chassis" in ends:
        return "one side", (), "chassis"
    if centre is not None:
        if centre == "chassis":
            return "centre tap", (), "chassis"
        return _tied(look, centre, (), "centre tap")
    return _across(look, joints, ends)


def _across(look: Look, joints: frozenset[str], ends: tuple[str, str]) -> tuple[Reference, tuple[str, ...], str | None]:
    """A pot or two resistors from the two sides to one joint, or one side tied."""
    for pot in look.amplifier.of_kind("pot"):
        if {pot.leads["end 1"], pot.leads["end 2"]} <= joints | set(ends):
            return _tied(look, pot.leads["wiper"], (pot.name,), "hum pot")
    halves: dict[str, list[str]] = {}
    for joint in sorted(joints | set(ends)):
        for b in look.net.at[joint]:
            if b.sort == "resistance" and b.far(joint) not in joints | set(ends):
                halves.setdefault(b.far(joint), []).append(b.part)
    best = max(halves.items(), key=lambda kv: (len(kv[1]), kv[0] == "chassis"), default=None)
    if best is None:
        loose = _tied(look, ends[0], (), "one side")
        return loose if loose[0] != "none" else ("none", (), None)
    return _tied(look, best[0], tuple(best[1]), "resistors" if len(best[1]) > 1 else "one side")


def _tied(
    look: Look, joint: str, parts: tuple[str, ...], plain: Reference
) -> tuple[Reference, tuple[str, ...], str | None]:
    """Follow a reference joint to chassis, or find dc on it."""
    if joint == "chassis":
        return plain, parts, joint
    cathodes = {look.part(v).leads["cathode"] for v in look.plates}
    stop = {*look.positive, *look.electrodes}
    found = look.ohmic(joint, stop - {joint}, ("wire", "resistance", "choke"))
    if joint in cathodes or any(j in cathodes or j in look.positive for j in found):
        return "lifted", parts, joint
    if "chassis" in found:
        more = tuple(dict.fromkeys(b.part for b in found["chassis"][1] if b.sort == "resistance"))
        return plain, (*parts, *more), "chassis"
    return "none", parts, joint
