"""The fuse in HT that a drawing does not have and that the order list offers: where the fuses drawn need not open in time when an
output valve shorts, and one in HT surely does."""

from dataclasses import dataclass

from firstglow.audit.figures import mains_transformer
from firstglow.audit.fuse import ht_fuse
from firstglow.audit.fuse_judged import Judged, Place
from firstglow.audit.ground import ground_of
from firstglow.audit.parts import Audit, Audited
from firstglow.solver.standing import SolveError


@dataclass(frozen=True, slots=True)
class Offered:
    """fuse: as it is ordered. faults: what it surely ends in time and no fuse drawn does. place: where it goes, with its cautions.
    protects: the transformer whose winding it saves."""

    fuse: Judged
    faults: tuple[str, ...]
    place: Place
    protects: str


def offered(found: Audit) -> Offered | None:
    """None where nothing is burnt that a fuse in HT would save, or where one is drawn."""
    stood = found.stood
    if mains_transformer(stood.amplifier) is None or not _burns(found):
        return None
    try:
        place = ht_fuse(ground_of(stood))
    except SolveError:
        return None
    if place is None:
        return None
    for judged in place.proposed:
        ends = tuple(b.fault for b in judged.blown if b.saves)
        if ends:
            supply = next(s for s in stood.roles.supplies if s.use == "ht")
            winding = next((w.part for leg in supply.legs for w in leg.windings if w.winding), "")
            return Offered(judged, ends, place, winding) if winding else None
    return None


def _burns(found: Audit) -> bool:
    """Does a shorted output valve take something past its rating before a fuse drawn surely opens?"""
    ways = [w.text for w in found.stood.ways if any(f.mode == "plate to cathode" for f in w.faults)]
    kinds = {text: {a.kind for a in found.parts if _gives(a, text)} for text in ways}
    return any(kinds[text] and "fuse" not in kinds[text] for text in ways)


def _gives(a: Audited, text: str) -> bool:
    return any(s.survives is False and s.situation == text for s in a.stresses)
