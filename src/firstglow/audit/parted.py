"""Switches, fuses and links that part a capacitor from what drains it: what stands then, where it is read, and the bleeder that
drains what would not drain.

With a standby switch off and its valves cold, what is behind it keeps all of HT while the reservoir ahead of it falls and reads 0 V.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.amplifier.supplies import supplies
from firstglow.readings.bleeder import MINUTE, Bleeder, bleeder
from firstglow.solver.discharge import HAZARD_VOLTS, Discharge, Tool, discharge
from firstglow.solver.nodes import find_nodes

LATER = 1.05
"""So many times longer counts as longer; a second at least."""


@dataclass(frozen=True, slots=True)
class Later:
    """One capacitor with the part open. below_60, below_10 [s], None: not by itself within a day. joint: where it is read."""

    part: str
    joint: str
    below_60: float | None
    below_10: float | None

    @property
    def slow(self) -> bool:
        """Does it stand above 60 V after a minute?"""
        return self.below_60 is None or self.below_60 > MINUTE


@dataclass(frozen=True, slots=True)
class Parted:
    """part: a switch, fuse or the part of a link, and its kind. later: what then stands longer above 60 V than with it closed. drained:
    the joint that tells nothing of them, "" where there is none."""

    part: str
    kind: str
    later: tuple[Later, ...]
    drained: str

    @property
    def read(self) -> tuple[str, ...]:
        """Joints that are read: one on either side."""
        return tuple(j for j in dict.fromkeys((self.drained, self.later[0].joint)) if j)


def parted(
    amplifier: Amplifier, start: Mapping[str, float], closed: Discharge, faults: Sequence[Fault], inside: Sequence[str]
) -> tuple[Parted, ...]:
    """start: volts on each capacitor; closed: the fall with everything as it is; inside: those that are not on the mains side."""
    return tuple(
        found
        for name in partings(amplifier)
        if name not in {f.part for f in faults} and (found := _one(amplifier, start, closed, faults, inside, name))
    )


def partings(amplifier: Amplifier) -> Iterator[str]:
    """Switches, fuses and links inside, feedback's aside."""
    mains = set(find_nodes(amplifier).mains)
    links = {link.part for link in amplifier.links.values() if not link.feedback}
    for part in amplifier.parts.values():
        parts = part.kind in ("switch", "fuse") or (part.kind == "wire" and part.name in links)
        if parts and not mains & set(part.leads.values()):
            yield part.name


def _one(
    amplifier: Amplifier, start: Mapping[str, float], closed: Discharge, faults: Sequence[Fault], inside: Sequence[str], name: str
) -> Parted | None:  # fmt: skip
    fall = discharge(amplifier, Situation(0.0), start, [*faults, Fault(name, "open")], high=True)
    rows = {c.part: c for c in fall.capacitors}
    by_joules = sorted(inside, key=lambda n: -float(rows[n].joules[0]))
    later, still = [], []
    for one in by_joules:
        before, then = (float(np.max(f.below_60_s)) for f in (closed.of(one), rows[one]))
        if abs(start[one]) <= HAZARD_VOLTS:
            continue
        if isfinite(before) and then > max(LATER * before, before + 1.0):
            ends = _whole(then), _whole(float(np.max(rows[one].below_10_s)))
            later.append(Later(one, hot_joint(amplifier, one), *ends))
        else:
            still.append(one)
    if not later:
        return None
    return Parted(name, amplifier.parts[name].kind, tuple(later), hot_joint(amplifier, still[0]) if still else "")


def hot_joint(amplifier: Amplifier, capacitor: str) -> str:
    """Its hot end."""
    leads = amplifier.parts[capacitor].leads
    return leads["-"] if leads["+"] == "chassis" else leads["+"]


def _whole(seconds: float) -> float | None:
    return seconds if isfinite(seconds) else None


def bleeders(
    amplifier: Amplifier, start: Mapping[str, float], standing: Sequence[str], slow: set[str], faults: Sequence[Fault],
    apart: Sequence[Parted],
) -> tuple[dict[str, Bleeder], dict[str, str]]:  # fmt: skip
    """(by the capacitor that each goes across, of such a capacitor what may be open meanwhile). standing: charged ones, HT first.

    Where a supply is slow: first across what a switch or fuse can part from its drain; then, if that is not enough, one across its
    first capacitor; where that does not reach, across the first of the slow ones, or each slow one itself. Never across what couples:
    it would carry HT to a grid."""
    whole = {c.name: 0.0 for c in amplifier.of_kind("capacitor")} | dict(start)
    out: dict[str, Bleeder] = {}
    behind: dict[str, str] = {}
    for s in supplies(amplifier):
        ends = {s.ret, *s.nodes, s.joint}
        mine = [n for n in standing if set(amplifier.parts[n].leads.values()) <= ends]
        wanted = [n for n in mine if n in slow and n not in out]
        for p in apart:
            late = {one.part for one in p.later if one.slow}
            cut = [n for n in mine if n in late]
            opened = [*faults, Fault(p.part, "open")]
            if cut and not _held(amplifier, whole, opened, out, cut) and (
                one := bleeder(amplifier, cut[0], cut, whole, opened)
            ):  # fmt: skip
                out[cut[0]], behind[cut[0]] = one, p.part
        if wanted and out and _held(amplifier, whole, faults, out, wanted):
            continue
        if wanted and (one := bleeder(amplifier, mine[0], mine, whole, faults)):
            out[mine[0]] = one
            continue
        if wanted and (one := bleeder(amplifier, wanted[0], wanted, whole, faults)):
            out[wanted[0]] = one
            continue
        out |= {n: found for n in wanted if (found := bleeder(amplifier, n, [n], whole, faults))}
    return out, behind


def _held(
    amplifier: Amplifier, start: Mapping[str, float], faults: Sequence[Fault], out: Mapping[str, Bleeder], names: Sequence[str]
) -> bool:  # fmt: skip
    """Whether one of those found brings all of these below 60 V within a minute."""
    for host, found in out.items():
        leads = amplifier.parts[host].leads
        fall = discharge(
            amplifier, Situation(0.0), start, faults, high=True, tool=Tool(leads["+"], leads["-"], found.ohms)
        )
        if all(float(np.max(fall.of(n).below_60_s)) <= MINUTE for n in names):
            return True
    return False
