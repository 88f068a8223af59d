"""A fingerprint of the resolved amplifier: not of comments, order, lines or layers."""

import hashlib
import json
from typing import Any

from firstglow.amplifier.model import Amplifier, Quantity, Winding


def _quantity(q: Quantity | None) -> Any:
    return None if q is None else [repr(q.value), repr(q.spread), q.shape]


def _winding(w: Winding) -> list[Any]:
    return [w.name, w.start, w.end, _quantity(w.turns), _quantity(w.ohms), _quantity(w.amps), w.role]


def content(amplifier: Amplifier) -> dict[str, Any]:
    """Everything that decides an answer, as plain JSON data in one order."""
    a = amplifier
    return {
        "name": a.name,
        "drawing": a.drawing,
        "mains": [repr(a.mains_volts), repr(a.mains_hz), repr(a.mains_spread)],
        "channels": list(a.channels),
        "fragment": a.fragment,
        "parts": {
            p.name: {
                "kind": p.kind,
                "type": p.type,
                "leads": dict(p.leads),
                "values": {k: _quantity(v) for k, v in p.values.items()},
                "words": {k: v for k, v in p.words.items() if k not in {"note", "original"}},
                "windings": [_winding(w) for w in p.windings],
                "envelope": p.envelope,
                "channel": p.channel,
                "twin": p.twin,
            }
            for p in a.parts.values()
        },
        "joints": {j.name: [sorted(j.terminals), j.channel, j.floating] for j in a.joints.values()},
        "links": {x.name: [x.part, x.lead, x.tie, x.channel] for x in a.links.values()},
        "idle": {x.valve: [_quantity(x.amps), repr(x.setting), x.pot] for x in a.idle.values()},
        "spreads": {k: {n: repr(x) for n, x in v.items()} for k, v in a.spreads.items()},
    }


def digest(amplifier: Amplifier) -> str:
    """Hex SHA-256 of ``content``."""
    text = json.dumps(content(amplifier), sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()
