"""What the structure hangs on a reading, for what to check first: the parts in its own path, what lies across that path and
leaks, and the rectifier that its volts come from. Beside what ``texts.toml`` says of every amplifier; these have names.
"""

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

from firstglow.amplifier.graph import Branch, Net, least_ohms, net_of
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import Supply

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame

LEAST_OHMS = 1e3
"""Across less than this no leak shows, only a short [ohm]."""
FAR = 3.0
"""What hangs further off than this many times the ohms of the reading itself moves it by less than another cause."""
MOST_NAMED = 3
FEED_OHMS = 1e3
"""No further from HT than this, a joint's volts are HT's [ohm]."""
_OHMIC = ("wire", "resistance", "choke", "winding")
Checks = Mapping[str, tuple[str, ...]]


def with_parts(
    frame: "Frame", checks: Checks, kind: str, red: str, black: str, at: Situation
) -> dict[str, tuple[str, ...]]:
    """What to check first, by side, those that hang on this reading in front of the side's own."""
    if not checks:
        return {}
    if kind == "ohms" and at.mains_volts == 0.0:
        found = _cold(frame, red, black, bare=not (checks.get("low") or checks.get("either")))
    elif kind == "dc volts" and at.mains_volts > 0.0:
        found = {"low": tuple(_half_dead(frame, checks, red, at))}
    else:
        return dict(checks)
    said = " ".join(text for texts in checks.values() for text in texts)
    more = {side: tuple(t for t in texts if t and t not in said) for side, texts in found.items()}
    sides = dict.fromkeys((*more, *checks))
    return {side: texts for side in sides if (texts := (*more.get(side, ()), *checks.get(side, ())))}


def _cold(frame: "Frame", red: str, black: str, bare: bool) -> dict[str, tuple[str, ...]]:
    """bare: nothing else is said of a low one."""
    net = net_of(frame.amplifier)
    red, black = (black, red) if red == "chassis" else (red, black)
    found = least_ohms(net, red, _ohms, {black, "chassis"})
    if red == black or black not in found:
        return {}
    ohms, path = found[black]
    own = [b.part for b in path if frame.part(b.part).kind == "resistor"]
    either = _named(frame, "own", own) if any(frame.part(b.part).kind == "transformer" for b in path) else ()
    if ohms < LEAST_OHMS:
        return {"either": either}
    # not through a mains winding: beyond it is another supply
    beside = least_ohms(net, red, lambda b, j: None if b.sort == "winding" else _ohms(b, j), {black, "chassis"})
    near = sorted(
        (cost, joint) for joint, (cost, _) in beside.items() if cost <= FAR * ohms and joint not in (black, "chassis")
    )
    joints = [joint for _, joint in near]
    across = _named(frame, "across", _on(net, joints, "capacitor"))
    diodes = _named(frame, "diode", _on(net, joints, "diode"))
    return {"low": (*across, *diodes, *(_named(frame, "own", own) if bare else ())), "either": either}


def _on(net: Net, joints: Iterable[str], sort: str) -> list[str]:
    """Parts of a sort on these joints, the nearest first; of valves none, they are out."""
    kinds = ("capacitor", "diode")
    return [b.part for j in joints for b in net.at[j] if b.sort == sort and net.amplifier.parts[b.part].kind in kinds]


def _half_dead(frame: "Frame", checks: Checks, red: str, at: Situation) -> Iterable[str]:
    """The rectifier of the HT that these volts are, where half of it may fail alone."""
    if any("rectifier" in text for side in ("low", "either") for text in checks.get(side, ())):
        return
    for supply in frame.supplies("ht"):
        if len(supply.legs) > 1 and _is_of(frame, supply, red) and not set(supply.rectifiers) & at.out:
            yield from _named(frame, "half_dead", supply.rectifiers)


def _is_of(frame: "Frame", supply: Supply, joint: str) -> bool:
    """HT itself, or what its return lead leaves below chassis (a bias made there)."""
    net = net_of(frame.amplifier)
    found = least_ohms(net, joint, _ohms, {"chassis", *supply.nodes, supply.ret})
    ends = [j for j in (supply.joint, *supply.nodes) if j in found and found[j][0] < FEED_OHMS]
    return bool(ends) or (supply.ret != "chassis" and supply.ret in found)


def _ohms(b: Branch, _: str) -> float | None:
    return b.ohms + 1e-3 if b.sort in _OHMIC else None


def _named(frame: "Frame", key: str, parts: Iterable[str]) -> tuple[str, ...]:
    """One line for all of them; none for none."""
    names = list(dict.fromkeys(parts))[:MOST_NAMED]
    return (frame.words.text(f"hanging.{key}", parts=", ".join(names)),) if names else ()
