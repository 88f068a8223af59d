"""What stands behind an electrode whose valve draws nothing: what feeds it, and no longer the valve across it."""

from firstglow.readings.asked import Block, Cast
from firstglow.readings.observe import Observer
from firstglow.readings.probe import PlannedReading


def dead_ohms(observer: Observer, block: Block, r: PlannedReading) -> float | None:
    """Thevenin ohms between the joints of ``r`` with the valves at its red joint out [ohm]; None where there is none.

    block: the one that ``r`` is in. Of the amplifier as drawn.
    """
    valves = (p for p in observer.amplifier.of_kind("valve") if r.probe.red in p.leads.values())
    dead = frozenset(p.envelope for p in valves if p.envelope)
    if not dead:
        return None
    situation = r.situation.but(out=r.situation.out | dead)
    own = [Block(f"{block.key} without {sorted(dead)}", situation, (r,))]
    seen = observer.see(own, Cast(observer.nominal), ohms_for=lambda _: True)
    return float(seen.source_ohms[r.id][0])
