"""What the windings of transformers are asked: rms computed from the solved pulses, dc after rectifiers, the whole load."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from firstglow.amplifier.model import Part, Winding
from firstglow.audit.stress import Stress, by_mains, most
from firstglow.audit.ways import Array, Stood
from firstglow.quantities import show

SHARE = 0.05
"""Margin under which a winding is tight: its rating already is what it carries for good."""
UNBALANCE = 0.10
"""Part of a push-pull valve's current by which its halves may differ (common practice: matched within 10 %)."""
SIMPLE = ("full wave", "half wave", "bridge")


def transformer(stood: Stood, part: Part) -> Iterator[Stress]:
    """Every winding, a primary whose amps nobody says by its volt-amperes; volt-amperes where they are said."""
    running = stood.where(level="now", runs=True)
    load = part.values.get("volt_amps")
    said = load is not None and load.origin.layer != "default"
    fed = rectified(stood)
    unrated = False
    for w in part.windings:
        name = f"{part.name} {w.name}"
        row = stood.row(name)
        rating = None if w.amps is None else w.amps.value
        if w.role == "primary" and rating is None and said and load is not None:
            # a plate has the volt-amperes as a rule, no primary amps; halves in series or side by side share them alike
            rating = load.value / sum(x.turns.value for x in part.windings if x.role == "primary")
        unrated = unrated or (rating is None and w.role != "primary")
        if name in fed:
            rms = float(np.max(row["amps_rms"][running]))
            note = f"{1e3 * rms:.3g} mA rms in the copper"
            for s in by_mains(
                stood, part, f"{w.name}: dc after its rectifier", "A", fed[name], rating, SHARE, running, note
            ):
                yield replace(s, note="") if s.fault else s  # the copper's amps are those of running
            yield from _copper(stood, part, w, row["amps_rms"])
        else:
            yield from by_mains(stood, part, f"{w.name}: amps rms", "A", row["amps_rms"], rating, SHARE, running)
    if said or unrated:
        apparent = sum(
            stood.row(f"{part.name} {w.name}")["amps_rms"] * stood.row(f"{part.name} {w.name}").get("volts_ac", 0.0)
            for w in part.windings
            if w.role != "primary"
        )
        value = load.value if said and load is not None else None
        yield from by_mains(
            stood, part, "volt-amperes of all windings", "VA", np.asarray(apparent), value, SHARE, running
        )


def _copper(stood: Stood, part: Part, w: Winding, rms: Array) -> Iterator[Stress]:
    """What warms a winding behind which a rectifier stands, from its solved cycle: its mark is dc, so no verdict stands on it."""
    stress = f"{w.name}: amps rms in its copper"
    for s in most(stood, part, stress, "A", rms, None, SHARE, stood.where(cold=False), faults=False):
        note = f"from the pulses of its cycle; {show(w.ohms.value * s.value**2, 'W', 2)} in its {show(w.ohms.value, 'ohm')}; {MARKED}"
        yield replace(s, note=note, judged=False)


MARKED = "no verdict: it is marked for the dc after its rectifier"


def rectified(stood: Stood) -> dict[str, Array]:
    """Winding -> dc of all supplies on it (way,) [A]: that is what such a winding is marked with. Multipliers go by rms."""
    found: dict[str, Array] = {}
    for supply in stood.roles.supplies:
        if supply.form in SIMPLE:
            drawn = np.asarray(sum(np.abs(stood.row(r)["amps"]) for r in supply.giving))
            for name in {f"{w.part} {w.winding}" for leg in supply.legs for w in leg.windings if w.winding}:
                found[name] = found.get(name, np.zeros(1)) + drawn
    return found


def output_transformer(stood: Stood, part: Part) -> Iterator[Stress]:
    """Push-pull: dc of one half against the other. Single-ended: dc through its primary."""
    sides = [stood.row(f"{part.name} plate {side}")["amps"] for side in "ab" if f"plate {side}" in part.leads]
    draws = stood.where(cold=False)
    heat = np.max(
        [stood.row(f"{part.name} plate {side}")["watts"] for side in "ab" if f"plate {side}" in part.leads], axis=0
    )
    audio = part.value("watts") if part.values.get("watts") else None
    note = "" if audio is None else "of a plate's lead; no more than its audio watts (common practice)"
    yield from most(stood, part, "watts in its copper", "W", heat, audio, 0.5, draws, note)
    stated = part.value("dc_amps") if part.values.get("dc_amps") else None
    if len(sides) == 1:
        yield from most(stood, part, "dc amps of its plate", "A", sides[0], stated, SHARE, draws)
        return
    one, two = (np.abs(s) for s in sides)
    # the idle that is meant is one half's, running: an uneven pair is as uneven in every other way
    among = np.where(stood.where(level="now", runs=True), 0.5 * (one + two), 0.0)
    rating = stated if stated is not None else UNBALANCE * float(among.max())
    note = "valves as the file has them" + ("" if stated is not None else "; 10 % of one half's")
    yield from most(
        stood, part, "dc unbalance of its halves", "A", one - two, rating or None, 0.5, draws, note, faults=False
    )


WINDINGS: Mapping[str, Callable[[Stood, Part], Iterator[Stress]]] = {
    "transformer": transformer,
    "output transformer": output_transformer,
}
