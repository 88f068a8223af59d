"""What to do about an electrolytic that meets volts the wrong way round: turned round only where it runs so."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from math import ceil

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Part
from firstglow.audit.ageing import ages
from firstglow.audit.moves import moved
from firstglow.audit.pieces import Item, Made, electrolytic, metal_film
from firstglow.audit.proposal import REST, Proposal
from firstglow.audit.stress import Stress
from firstglow.audit.stress_line import PLAIN_SHARE
from firstglow.audit.stress_passive import HALF, REVERSE_VOLTS, body_volts
from firstglow.audit.tried import breaks, tried
from firstglow.audit.ways import Array, Stood
from firstglow.markings.made import made_volts, made_watts
from firstglow.markings.series import next_up, preferred
from firstglow.quantities import show

REVERSE = "reverse volts"
BLEEDERS = (1e6, 680e3, 470e3, 330e3, 220e3, 150e3, 100e3, 68e3, 47e3)
"""Tried across a rail that warm valves pull below 0 V, the largest first [ohm] (E12)."""
LARGEST_FILM = 3.0
"""Watts of the largest film resistor that shops keep (``markings.made``)."""
FLOATS_VOLTS = 2.5
"""No deeper than this do a warm valve's own electrons take what nothing feeds: a grid over 10 megohm stands at about -1 V, its current
starts at -1.3 V at most (0.3 uA: makers' sheets of small valves, from memory) [V]."""


def reversed_(
    stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress], fresh: Proposal, volts: float
) -> Proposal:
    """fresh: a new one as any capacitor is proposed; volts: what it is asked to be made for. Turned round where it RUNS with minus on its
    plus lead and in no way the other way; where it runs as it is marked plus stays where it is, and what pulls it below 0 V is mended."""
    across = _across(stood, part)
    if _runs_reversed(stood, part):
        if float(np.max(across[stood.where()])) > REVERSE_VOLTS:
            return _both_ways(part, fresh, volts)
        rest = "" if fresh.changes == REST else f"; {fresh.changes}"
        what = f"{fresh.what}, the other way round: its minus where its plus is now"
        items = tuple(replace(i, turned=i.place == "in its place") for i in fresh.items)
        return replace(fresh, what=what, changes=f"{TURNED}{rest}", items=items)
    found = _held(stood, part)
    if found is None:
        return _both_ways(part, fresh, volts)
    others = [s for s in pressing if s.stress != REVERSE]
    return _bled(stood, part, by[REVERSE], fresh if others or ages(part) else Proposal("", ""), *found)


TURNED = "the volts across it change sign; one that has been reversed under volts is not used again"


def _across(stood: Stood, part: Part) -> Array:
    return stood.dc(part.leads["+"]) - stood.dc(part.leads["-"])


def _both_ways(part: Part, fresh: Proposal, volts: float) -> Proposal:
    """Volts of either sign in one way of standing or another: no polarity is right, so two of twice the farads, each for all of them."""
    farads, rated = next_up(2.0 * part.value("farads"), "E6"), made_volts(volts, "electrolytic")
    why = "volts of either sign stand across it in one way of standing or another"
    if rated is None:  # a row of them as it is
        pieces = tuple(
            replace(i, pieces=2 * i.pieces, place="beside" if i.place == "beside" else "minus to minus")
            for i in fresh.items
        )
        return replace(fresh, what=f"{fresh.what}; two such rows, minus to minus: {why}", changes=TURNED, items=pieces)
    piece = Item(2, electrolytic(farads, rated), "2 in series, minus to minus", "minus to minus", 2)
    what = f"2 of {piece.text} in series, minus to minus: {why}"
    return replace(fresh, what=what, changes=TURNED, items=(piece,), alternatives=(), refused=())


def _pulled(stood: Stood, part: Part) -> NDArray[np.bool_]:
    """The ways in which it stands reversed by more than is asked to spare (way,)."""
    return stood.where() & (_across(stood, part) < -HALF * REVERSE_VOLTS)


def _held(stood: Stood, part: Part) -> tuple[Part, float] | None:
    """The capacitor across which a bleeder holds this one, and its ohms: one for all that the same ways pull; None where none does."""
    first = _alike(stood, part)[0]
    for host in {first.name: first, part.name: part}.values():
        ways, alike = _pulled(stood, host) | _pulled(stood, part), _alike(stood, host)
        held = _holds(stood, host, ways, {p.name: p for p in (host, part, *alike)}.values())
        for parts in (alike, [host, part]):  # the largest that holds all that is pulled with it, else these two
            for n, ohms in enumerate(BLEEDERS):
                if all(held[p.name][n] for p in parts):
                    return host, ohms
    return None


def _alike(stood: Stood, part: Part) -> list[Part]:
    """The electrolytics that the same ways pull below 0 V, itself among them."""
    ways = _pulled(stood, part)
    every = (c for c in stood.amplifier.of_kind("capacitor") if c.type == "electrolytic")
    return [c for c in every if (_pulled(stood, c) & ways).any() and not _runs_reversed(stood, c)]


def _runs_reversed(stood: Stood, part: Part) -> bool:
    return float(np.min(_across(stood, part)[stood.where(runs=True)], initial=0.0)) < -REVERSE_VOLTS


def _holds(stood: Stood, host: Part, ways: NDArray[np.bool_], parts: Iterable[Part]) -> dict[str, NDArray[np.bool_]]:
    """Which of the bleeders across one capacitor (its leak, so many ohms) keep each part within what is asked, in these ways."""
    keep, count = np.flatnonzero(ways), len(BLEEDERS)
    laid = np.tile(stood.standing.values[:, keep], count)
    laid[stood.circuit.column[f"{host.name} leak_ohms"]] = np.repeat(BLEEDERS, len(keep))
    now = stood.circuit.solve(laid, np.tile(stood.standing.x[:, keep], count), strict=False)
    out = {}
    for p in parts:
        low = np.where(now.settled, now.dc(p.leads["+"]) - now.dc(p.leads["-"]), -np.inf)
        out[p.name] = low.reshape(count, len(keep)).min(axis=1) >= -HALF * REVERSE_VOLTS
    return out


def _bled(stood: Stood, part: Part, s: Stress, new: Proposal, host: Part, ohms: float) -> Proposal:
    """The bleeder as it is bought, why it is wanted, and what it moves."""
    most = float(np.max(np.abs(_across(stood, host)) * stood.where()))
    bears = (1.0 - PLAIN_SHARE) * body_volts(LARGEST_FILM)
    count = max(ceil(2.0 * most**2 / ohms / LARGEST_FILM), ceil(most / bears))
    rated = (
        made_watts(max(2.0 * most**2 / ohms / count, 1.0), "film") or LARGEST_FILM
    )  # from 1 W on a body stands ``bears``
    made = metal_film(preferred(ohms / count, "E24"), rated)
    each = made.text
    own, joints = host.name == part.name, " to ".join(host.leads.values())
    note = f"{f'{count} in series, ' if count > 1 else ''}a bleeder across {host.name}, {joints}"
    why, switch = _why(stood, part, s)
    other = (f"{switch} where it cuts no rail off from what drains it (not solved here)",) if own and switch else ()
    instead = tuple(Made(text) for text in other)
    piece = Item(count, made, note, "across it", count, for_part="" if own else host.name, instead=instead)
    told = f"the bleeder of {show(ohms, 'ohm')} across {host.name} holds it too, nothing for itself; plus stays where it is"
    if own:
        told = f"{f'{count} of {each} in series' if count > 1 else each} across it, a bleeder; plus stays where it is"
    changes = {f"{host.name} leak_ohms": ohms}
    hurt = breaks(stood, tried(stood, changes), part) if own else ""  # told once, where it is bought
    text = f"{why}; with the bleeder {moved(stood, changes)}{f'; but: {hurt}' if hurt else ''}"
    rest = "" if new.changes == REST or not new.what else f"; {new.changes}"
    return replace(
        new, what=f"{new.what}; {told}" if new.what else told, changes=f"{text}{rest}", items=(*new.items, piece),
        alternatives=new.alternatives if new.what else other,
    )  # fmt: skip


def _why(stood: Stood, part: Part, s: Stress) -> tuple[str, str]:
    """What pulls it below 0 V there, in bench words, and the switch that is open there."""
    runs = "it stands as it is marked while the amplifier runs"
    k = next((n for n, w in enumerate(stood.ways) if w.text == s.situation), None)
    switch = "" if k is None else ", ".join(sorted(stood.ways[k].situation.switches_open))
    if k is None or s.value > FLOATS_VOLTS or stood.ways[k].cold:
        return f"{runs}; {s.situation} turns it", switch
    cut = f"{switch} open cuts its rail off" if switch else "there nothing feeds its rail"
    amps = abs(float(np.ravel(stood.row(part.name)["amps"])[k]))
    told = f"{runs}; {cut}, and electrons of the warm valves, landing on grids and screens, charge it backwards within minutes"
    return f"{told}: {show(amps, 'A', 2)} against its own leak", switch
