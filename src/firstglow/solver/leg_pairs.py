"""Two legs of rectifiers and what they are to each other: pulses at the same moments, windings that both flow through.

Sound legs of a supply take turns; a bad rectifier's neighbour, a bridge's loops and the half cycles of another supply on the
same winding do not. Each function takes the group of one reservoir's legs and what ``prepare`` made of its parameters.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.legs import Leg
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.supplies import supplies
from firstglow.solver.charging import NOT_THERE_OHMS
from firstglow.solver.frame import Array, Coefficients

if TYPE_CHECKING:
    from firstglow.solver.pulses import Pulses

SHARING_LEAK_OHMS = 1e6
"""A rectifier that leaks through more ohms than this in its neighbour's half cycle moves it by less than its own leak."""
UNTOLD = 100.0
"""A rectifier that leaks less than this many times the ohms it shares with another cell's leg moves that by under 1 %."""


def alike(group: "Pulses", p: Array, sense: Array) -> Array:
    """1 where two legs pulse through windings and mains side at the same moments, half and half, so that each meets what
    they share as twice its ohms (leg, leg, sample): a reversed diode beside its sound neighbour, or the like loops of two
    bad rectifiers across from each other in a bridge. Always 1 on the diagonal."""
    way = np.array([[leg.phase] for leg in group.legs]) * sense
    if group.loops:
        there = np.array([leg.there(p) for leg in group.loops])
        like = (way[:, None] == way) & there[:, None] & there
    else:
        like = (way[:, None] == way) & (sense[:, None] != sense)
    return np.asarray(np.maximum(like.astype(float), np.eye(len(way))[:, :, None]))


def at_once(group: "Pulses", c: Coefficients) -> NDArray[np.bool_]:
    """Samples in which a bad rectifier conducts while its neighbour does (sample,)."""
    if len(group.legs) < 2 or group.loops or group.henries is not None:
        return np.zeros(c["leak"].shape[1], dtype=bool)
    bad = (c["leak"] < SHARING_LEAK_OHMS) | (c["sense"] != c["sense"][:1])
    return np.asarray(bad.any(axis=0))


def _opposing(group: "Pulses", values: Array) -> Array:
    """Values of two legs each (leg, leg, sample), turned where their phases oppose; nothing on the diagonal."""
    phase = np.array([leg.phase for leg in group.legs])
    return np.asarray((phase[:, None] * phase - np.eye(len(phase)))[:, :, None] * values)


def not_pumped(group: "Pulses", c: Coefficients, amps: Array) -> Array:
    """Amps of a pump's rectifier [A] where one is shorted or reversed, or the capacitor shorted: it then carries more than a
    cycle's charge, and no answer is one (sample,)."""
    bad = (c["sense"] < 0.0) | np.isfinite(c["leak"]) | c["pump leaks"]
    return np.asarray(np.where(bad.any(axis=0), np.abs(amps).sum(axis=0) + 1.0, 0.0))


WAY_ROUND = "way round "
"""What the books' miss of a common return that is open begins with."""


def common_returns(amplifier: Amplifier, legs: Sequence[Leg]) -> tuple[str, ...]:
    """Series parts that stand on a winding's tap which other supplies' legs share: open, they send this supply back through the
    others' rectifiers, a way round that is no leg of anybody's."""
    own = {(w.part, w.winding) for leg in legs for w in leg.windings if w.winding}
    mine = {(leg.start, leg.end) for leg in legs}
    others = [leg for s in supplies(amplifier) for leg in s.legs if (leg.start, leg.end) not in mine]
    shared = own & {(w.part, w.winding) for leg in others for w in leg.windings}
    if not shared:
        return ()
    # a part on another winding's joint (the rectifier's own heater rides on HT) is no tap's
    taps = {
        t.leads[lead]
        for t in amplifier.of_kind("transformer") for w in t.windings if (t.name, w.name) in shared
        for lead in (w.start, w.end)
    }  # fmt: skip
    passed = dict.fromkeys(name for leg in legs for name in (*leg.series_ac, *leg.series_dc))
    return tuple(name for name in passed if taps & set(amplifier.parts[name].leads.values()))


def not_round(group: "Pulses", p: Array) -> Array:
    """Amps that say: no answer is one, where a common return is open (sample,)."""
    out = np.zeros(p.shape[1])
    for row in group.returns:
        out = np.maximum(out, (p[row] > NOT_THERE_OHMS) * 1.0)
    return out


def paired(group: "Pulses", turns: Array) -> Array:
    """Product of every two legs' turns as the core sees them at one moment (leg, leg, sample); 0 on the diagonal."""
    return _opposing(group, turns[:, None] * turns)


def mutual(group: "Pulses", c: Coefficients, source: Array) -> Array:
    """Ohms by which one leg's pulse works against another's at the same moment: the windings they share, and the core."""
    return _opposing(group, c["shared"] + c["turns"][:, None] * c["turns"] * source)


def not_met(group: "Pulses", leg: int, x: Array, c: Coefficients, source: Array) -> Array:
    """What legs of the other half cycle drop at the fundamental in this leg's windings and mains side: it conducts without
    it."""
    out = np.zeros(x.shape[1])
    for k, (n, unknown, _) in enumerate(group.others):
        if n == leg:
            out = out + (c["dropped"][k] + c["pulls"][k] * source) * x[unknown]
    return out


def not_told(group: "Pulses", leg: int, x: Array, c: Coefficients, source: Array, amps: Array) -> Array:
    """Amps of a leg [A] that conduct while a leg of another cell does, through a shorted rectifier: what the two drop for
    each other is then neither the fundamental nor nothing, and no answer is one (sample,)."""
    out = np.zeros(x.shape[1])
    for k, (n, unknown, _) in enumerate(group.others):
        if n == leg:
            both = np.minimum(np.abs(x[unknown]), np.abs(amps))
            shared = c["dropped"][k] + c["pulls"][k] * source
            out = out + np.where(c["other leak"][k] < UNTOLD * np.abs(shared), both, 0.0)
    return out
