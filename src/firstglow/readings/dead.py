"""What stands behind an electrode whose valve draws nothing: what feeds it, and no longer the valve across it."""

from collections.abc import Sequence

from firstglow.readings.asked import Block, Cast, key_of
from firstglow.readings.observe import Observer
from firstglow.readings.probe import PlannedReading


def dead_ohms(observer: Observer, readings: Sequence[PlannedReading]) -> dict[str, float]:
    """Thevenin ohms between the joints of each reading with the valves at its red joint out [ohm], by reading id, all
    solved together; a reading with no valve there is absent. Of the amplifier as drawn."""
    blocks = []
    for r in readings:
        valves = (p for p in observer.amplifier.of_kind("valve") if r.probe.red in p.leads.values())
        dead = frozenset(p.envelope for p in valves if p.envelope)
        if dead:
            situation = r.situation.but(out=r.situation.out | dead)
            blocks.append(Block(key_of(situation), situation, (r,)))
    if not blocks:
        return {}
    seen = observer.see(blocks, Cast(observer.nominal), ohms_for=lambda _: True)
    return {name: float(ohms[0]) for name, ohms in seen.source_ohms.items()}
