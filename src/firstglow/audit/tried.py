"""A proposal tried before it is made: what it puts past a rating elsewhere, over every way of standing without a fault."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.amplifier.situation import Fault
from firstglow.audit.proposal import said
from firstglow.audit.stress import WORSE, WORST, Stress
from firstglow.audit.stress_passive import PASSIVE
from firstglow.audit.stress_valves import VALVES
from firstglow.audit.stress_windings import WINDINGS
from firstglow.audit.ways import Stood, laid_for

KINDS = {**PASSIVE, **VALVES, **WINDINGS}


def breaks(stood: Stood, other: Stood | None, part: Part) -> str:
    """What a change puts past its rating, or further past it, in bench words: "V3, V4 plate volts 386 V of 350 V"; "" where nothing.
    other: as ``tried`` gave it; part: the one that is changed, left out."""
    if other is None:
        return "its readings could not be worked out"
    found: dict[str, list[tuple[str, Stress]]] = {}
    for p in stood.amplifier.parts.values():
        if p.name == part.name:
            continue
        before = {s.stress: s for s in KINDS[p.kind](stood, p) if not s.fault}
        for s in KINDS[p.kind](other, p):
            if s.stress.endswith(WORST):
                continue  # unfit only with the row of running beside it
            if s.verdict == "unfit" and _worse(s, before.get(s.stress)):
                found.setdefault(s.stress, []).append((p.name, s))
    groups: dict[str, list[str]] = {}
    for stress, rows in found.items():
        worst = min((s for _, s in rows), key=lambda s: s.margin or 0.0)
        groups.setdefault(", ".join(name for name, _ in rows), []).append(f"{stress} {said(worst)}")
    return "; ".join(f"{names} {', '.join(texts)}" for names, texts in groups.items())


def _worse(now: Stress, before: Stress | None) -> bool:
    """Past its rating for the first time, or further past it by more than a meter shows."""
    if before is None or before.verdict != "unfit":
        return True
    return now.value > WORSE * before.value if now.side == "at most" else now.value * WORSE < before.value


def tried(stood: Stood, changes: Mapping[str, float], faults: Sequence[Fault] = ()) -> Stood | None:
    """Every way without a fault with some parameters set, or another valve type in a socket; None where one would not settle. A hot
    restart, and how far a choke rings, are taken as they were."""
    keep = np.flatnonzero(stood.where())
    every = tuple(stood.ways[int(k)] for k in keep)
    laid = np.stack([laid_for(stood.circuit, way.situation, way.cold, tuple(faults)) for way in every], axis=1)
    for name, value in changes.items():
        laid[stood.circuit.column[name]] = value
    standing = stood.circuit.solve(laid, stood.standing.x[:, keep], strict=False)
    if not standing.settled.all():
        return None
    other = replace(stood, ways=every, standing=standing, _rows={}, swings=stood.swings)
    other.__dict__["restart"] = stood.restart
    return other


def values_tried(
    stood: Stood, part: Part, parameter: str, values: Mapping[str, float]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Other values, by their words, tried: those that put nothing past its rating, and those that do, with what."""
    good, bad = [], []
    for text, value in values.items():
        hurt = breaks(stood, tried(stood, {parameter: value}), part)
        bad += [f"{text}: {hurt}"] if hurt else []
        good += [] if hurt else [text]
    return tuple(good), tuple(bad)
