"""The fuses: does what the file has hold the start, what does it do when an output valve or the HT winding is shorted, and what
would be right. Times are the standard's limits (``fuse_times``), currents the whole amplifier's solution.

A fuse keeps wiring and transformer from burning. It never protects a person.
"""

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.amplifier.roles import Roles
from firstglow.amplifier.situation import Fault, Situation
from firstglow.amplifier.supplies import Supply
from firstglow.audit.figures import cold
from firstglow.audit.fuse_judged import Blown, Fuses, Judged, Place, Unsaved
from firstglow.audit.fuse_times import BREAKING_RULE, PULSES, RATINGS, Fuse, Speed, breaking_made
from firstglow.audit.ground import Ground
from firstglow.audit.inrush import Inrush, first_charge, inrush
from firstglow.audit.mains_limits import hurt
from firstglow.audit.mains_now import Today
from firstglow.audit.mains_now import today as today_on
from firstglow.solver.nodes import find_nodes
from firstglow.solver.standing import Standing

ROOM = 1.25
"""A mains fuse's mark over the most that it carries for long, at least (common practice: 1.5 to 2 times full load for T; IEC lets
it carry its whole mark)."""


HT_CAUTION = (
    (
        "an HT fuse's holder is live until every capacitor is empty; one that blows leaves them charged: only the bleeder and what "
        "firstglow discharge names then empty them, after the same wait"
    ),
)
Flows = tuple[str, float, float | None]
"""A fault, amps rms through the fuse on the mark, and on the lowest mains."""


def line_fuses(ground: Ground) -> tuple[Judged, ...]:
    """The fuses for the line that hold full power and surely a start on the highest mains, whatever the faults: the smallest that does,
    and the smallest that stands ten thousand starts. SolveError."""
    at = Situation(ground.mark, pots=ground.pots)
    laid = [ground.circuit.vector(at), ground.circuit.vector(at.but(loads=ground.extra))]
    drawn = np.asarray(ground.circuit.solve(np.stack(laid, axis=1)).books.flows["lamp"].row["amps_rms"])
    amps, full = float(drawn[0]), float(drawn.max())
    start = inrush(ground.circuit, ground.high, full, dict(ground.pots))
    return tuple(_right(lambda f: Judged("", f, amps / f.amps, full / f.amps, start.used(f), ()), full))


def ht_fuse(ground: Ground) -> Place | None:
    """The fuse in HT that the file does not have, judged on the mark on the faults that it is there for; None where it has one, or
    none is of use. SolveError."""
    ground = _on_mark(ground)
    faults = tuple((text, f) for text, f in _faults(ground) if "winding" not in text)
    mains = set(find_nodes(ground.amplifier).mains)
    ours = [p for p in ground.amplifier.of_kind("fuse") if not all(j in mains for j in p.leads.values())]
    if not faults or any(s.use == "ht" and _carries(s, p) for p in ours for s in ground.roles.supplies):
        return None
    return _wanted(ground, _shorted(ground, [f for _, f in faults]), faults)


def _on_mark(ground: Ground) -> Ground:
    """The same amplifier on the mains of its mark, whatever they are today."""
    return ground if abs(ground.now / ground.mark - 1.0) < 1e-6 else today_on(ground.amplifier)


def fuses(now: Today) -> Fuses:
    """Every fuse on the mark, the start on the highest mains, whatever they are today. SolveError."""
    today = now if abs(now.over) < 1e-6 else today_on(now.amplifier)
    full = max(today.full.mains_amps, today.at_now.mains_amps)
    start = inrush(today.circuit, today.high, full, dict(today.pots))
    amplifier = today.amplifier
    mains = set(find_nodes(amplifier).mains)
    faults = tuple(_faults(today))
    shorted = _shorted(today, [f for _, f in faults])
    drawn, n = np.asarray(shorted.books.flows["lamp"].row["amps_rms"]), len(faults)
    line = tuple(
        (text, float(drawn[k]), float(drawn[n + k]) if shorted.settled[n + k] else None)
        for k, (text, _) in enumerate(faults)
        if shorted.settled[k]
    )
    places = []
    ours = amplifier.of_kind("fuse")
    for part in ours:
        if all(j in mains for j in part.leads.values()):
            places.append(_mains(today, part, start, line))
        else:
            places.append(_inside(today, part, shorted, faults))
    if not any(p.place == "mains" for p in places):
        places.insert(0, _mains(today, None, start, line))
    if not any(p.place == "HT" for p in places) and (ht := _wanted(today, shorted, faults)) is not None:
        places.append(ht)
    return Fuses(start, tuple(places), tuple(_unsaved(today, places, shorted, faults)), today.now, _lowest(today))


def _lowest(today: Ground) -> float:
    return today.mark * (1.0 - today.amplifier.mains_spread)


def _unsaved(
    today: Today, places: Sequence[Place], shorted: Standing, faults: Sequence[tuple[str, tuple[Fault, ...]]]
) -> Iterator[Unsaved]:
    """Faults that the mains fuse lets stand, what they burn, and the HT fuse that would end them."""
    own = next((p for p in places if p.place == "mains" and p.now is not None), None)
    lasting = () if own is None or own.now is None else tuple(b for b in own.now.blown if not b.saves)
    if own is None or not lasting:
        return
    every = hurt(today.amplifier, today.circuit, Situation(today.now, pots=today.pots), shorted, faults)
    inside = [j for p in places if p.place == "HT" for j in ((p.now,) if p.now is not None else p.proposed)]
    for b in lasting:
        yield Unsaved(b, every.get(b.fault, ()), _sure(own.proposed, b.fault), _sure(inside, b.fault))


def _sure(proposed: Sequence[Judged], fault: str) -> str:
    """The first that surely opens in time on a fault, "" where none does."""
    return next((j.fuse.name for j in proposed for b in j.blown if b.fault == fault and b.saves), "")


def _faults(today: Ground) -> Iterator[tuple[str, tuple[Fault, ...]]]:
    """What a fuse is there for."""
    if today.roles.outputs:
        valve = today.roles.outputs[0].valve
        yield f"{valve} shorted", (Fault(valve, "plate to cathode"),)
    for supply in today.roles.supplies:
        if supply.use == "ht":
            if supply.reservoir is not None and supply.input == "capacitor":
                yield f"{supply.reservoir} shorted", (Fault(supply.reservoir, "shorted"),)
            winding = next((w for w in supply.legs[0].windings if w.winding), None)
            if winding is not None:
                yield "HT winding shorted", (Fault(winding.part, f"{winding.winding} shorted"),)
            return


def _shorted(today: Ground, faults: Sequence[tuple[Fault, ...]]) -> Standing:
    """One column a fault, then one each on the lowest mains, where a rectifier valve's emission passes far less; what does not
    come out soon is left unsettled: a fuse's amps are not worth minutes."""
    levels = [Situation(volts, pots=today.pots) for volts in (today.now, _lowest(today))]
    laid = np.stack([today.circuit.vector(at, f) for at in levels for f in faults], axis=1)
    return today.circuit.solve(laid, strict=False, thorough=False)


def stated(part: Part) -> Fuse | None:
    """A fuse as the file says it; None where its amps are not said. Of unknown speed it counts as the file's default."""
    amps = part.values.get("amps")
    if amps is None or amps.value <= 0.0 or amps.origin.layer == "default":
        return None
    speed: Speed = "F" if part.type == "fast" else "T"
    return Fuse(amps.value, speed)


# -- in the line -----------------------------------------------------------------------------------------------------
def _mains(today: Today, part: Part | None, start: Inrush, line: Sequence[Flows]) -> Place:
    amps = today.at_now.mains_amps
    full = max(today.full.mains_amps, amps)

    def judged(fuse: Fuse, name: str = "") -> Judged:
        return Judged(name, fuse, amps / fuse.amps, full / fuse.amps, start.used(fuse), _blown(fuse, line))

    own = stated(part) if part is not None else None
    now = judged(own, part.name) if own is not None and part is not None else None
    return Place(
        part.name if part is not None else "",
        "mains",
        amps,
        full,
        0.0,
        now,
        tuple(_right(judged, full)),
        _line_cautions(today, full),
    )


def _right(judge: Callable[[Fuse], Judged], full: float) -> Iterator[Judged]:
    """The smallest time-lag fuse that surely holds a start, and the smallest that stands ten thousand."""
    fit = [judge(Fuse(a, "T", breaking_made(a, "T"))) for a in RATINGS if a >= ROOM * full]
    sure = next((j for j in fit if j.start <= PULSES), None)
    holds = next((j for j in fit if j.start <= 1.0), None)
    found = [j for j in (holds, sure) if j is not None]
    yield from {j.fuse.amps: j for j in found}.values()


def _line_cautions(today: Today, full: float) -> tuple[str, ...]:
    out = [
        (
            f"in the line, ahead of the switch. Breaking capacity: {BREAKING_RULE}; an L stands behind the plug's or the board's own "
            "fuse, which then breaks a short ahead of the transformer. Never an H of more amps instead, and what a maker has beyond "
            "the standard only by his own sheet"
        ),
    ]
    if today.amplifier.mains_hz > 55.0 and today.mark < 160.0:
        out.append(
            f"marks of UL 248-14 are not these: such a fuse carries 75 % of its mark for good, so {full / 0.75:.2g} A or more, "
            "time delay; blows within two minutes at twice its mark"
        )
    return tuple(out)


# -- behind the transformer ------------------------------------------------------------------------------------------
def _inside(today: Today, part: Part, shorted: Standing, faults: Sequence[tuple[str, tuple[Fault, ...]]]) -> Place:
    """HT, bias, anything that stands on no mains joint."""
    supply = next((s for s in today.roles.supplies if _carries(s, part)), None)
    place = "other" if supply is None else {"ht": "HT", "bias": "bias"}.get(supply.use, "other")
    idle = _idle(today)
    amps, full = (amps_of(idle, part, supply, k) for k in (0, 1))
    seen = _seen(shorted, faults, lambda k: amps_of(shorted, part, supply, k))
    # in the centre tap it stands near chassis, and parts all of its supply's volts
    apart = [*part.leads.values(), *([supply.joint] if supply is not None else ())]
    volts = max((float(np.abs(idle.dc(j)).max()) for j in apart), default=0.0)
    charge = 0.0 if supply is None else _charging(today, supply)

    def judged(fuse: Fuse, name: str = "") -> Judged:
        return Judged(name, fuse, amps / fuse.amps, full / fuse.amps, charge / fuse.melts, _blown(fuse, seen))

    own = stated(part)
    now = judged(own, part.name) if own is not None else None
    cautions: tuple[str, ...] = ()
    if place == "HT":
        marked = f"{volts:.0f} V dc: a cartridge marked 250 V~ is for ac; look for one marked for dc of that voltage"
        cautions = (*HT_CAUTION, marked)
        if supply is not None and supply.form == "full wave" and _shares(today.roles, supply) and _returns(today, part):
            cautions = (ASTRAY, *cautions)
    elif place == "bias":
        cautions = ("a bias fuse that blows takes the bias away while HT stays: better none",)
    proposed = tuple(_right(judged, max(full, amps_of(idle, part, supply, 3)))) if place != "bias" else ()
    return Place(part.name, place, amps, full, volts, now, proposed, cautions)


def _wanted(today: Ground, shorted: Standing, faults: Sequence[tuple[str, tuple[Fault, ...]]]) -> Place | None:
    """An HT fuse where there is none: between rectifier and winding, or rectifier and reservoir, it carries all pulses."""
    supply = next((s for s in today.roles.supplies if s.use == "ht" and s.input == "capacitor"), None)
    if supply is None or not today.roles.outputs:
        return None
    idle = _idle(today)
    amps, full = (pulses(idle, supply, k) for k in (0, 1))
    most = max(full, pulses(idle, supply, 3))  # what parts then holds it to
    seen = _seen(shorted, faults, lambda k: pulses(shorted, supply, k))
    charge = _charging(today, supply)

    def judged(fuse: Fuse) -> Judged:
        return Judged("", fuse, amps / fuse.amps, full / fuse.amps, charge / fuse.melts, _blown(fuse, seen))

    where = (
        "in the centre tap's lead of the HT winding"
        if supply.form == "full wave" and not _shares(today.roles, supply)
        else "between rectifier and reservoir"
    )
    volts = float(np.abs(idle.dc(supply.joint)).max())
    caution = f"{where}; a cartridge marked 250 V~ (5 x 20 mm, L or H) may go on arcing at {volts:.0f} V dc"
    return Place("", "HT", amps, full, volts, None, tuple(_right(judged, most)), (caution, *HT_CAUTION))


ASTRAY = (
    "it does not belong in this lead: another supply lives on the same winding, and with this fuse blown HT comes back through that "
    "one's rectifier, into capacitors made for far less. Between HT's rectifier and its reservoir it breaks HT alone"
)


def _returns(today: Ground, part: Part) -> bool:
    """Does it stand between a winding's tap and what HT comes back to?"""
    taps = {j for t in today.amplifier.of_kind("transformer") for lead, j in t.leads.items() if lead.endswith("ct")}
    return bool(taps & set(part.leads.values()))


def _shares(roles: Roles, supply: Supply) -> bool:
    """Does another supply live on this one's windings? A fuse in their common return then breaks no current when it blows: HT
    finds its way back through the other's rectifier, all of it into a bias supply that is made for a tenth."""
    own = {(w.part, w.winding) for leg in supply.legs for w in leg.windings}
    others = (s for s in roles.supplies if s is not supply)
    return any((w.part, w.winding) in own for s in others for leg in s.legs for w in leg.windings)


def _seen(
    shorted: Standing, faults: Sequence[tuple[str, tuple[Fault, ...]]], amps: Callable[[int], float]
) -> list[Flows]:
    """What passes a place behind the transformer on each fault that is not the winding's own, on the mark and the lowest mains."""
    n = len(faults)
    return [
        (text, amps(k), amps(n + k) if shorted.settled[n + k] else None)
        for k, (text, _) in enumerate(faults)
        if shorted.settled[k] and "winding" not in text
    ]


def _idle(today: Ground) -> Standing:
    """Four columns: at idle, at the guess of full power, on the highest mains with nothing drawing yet, and at idle there."""
    at = Situation(today.now, pots=today.pots)
    laid = [today.circuit.vector(at), today.circuit.vector(at.but(loads=today.extra))]
    high = today.circuit.vector(at.but(mains_volts=today.high))
    laid += [cold(today.circuit, high), high]
    return today.circuit.solve(np.stack(laid, axis=1))


def pulses(standing: Standing, supply: Supply, k: int, part: str = "") -> float:
    """Rms of all the legs' pulses together, or of those that pass a part [A]; 0 where none do."""
    legs = [leg for leg in supply.legs if not part or part in (*leg.series_ac, *leg.series_dc)]
    last = {plate.part for leg in legs for plate in leg.stages[-1]}
    waves = [standing.waves.rectifiers[n][:, k] for n in sorted(last) if n in standing.waves.rectifiers]
    return float(np.sqrt(np.mean(np.sum(waves, axis=0) ** 2))) if waves else 0.0


def _carries(supply: Supply, part: Part) -> bool:
    if any(part.name in (*leg.series_ac, *leg.series_dc) for leg in supply.legs):
        return True
    return any(j in (*supply.nodes, supply.rectified, supply.ret) for j in part.leads.values())


def amps_of(standing: Standing, part: Part, supply: Supply | None, k: int) -> float:
    """Rms through a fuse: the pulses of the legs that pass it, else its dc [A]."""
    found = pulses(standing, supply, k, part.name) if supply is not None else 0.0
    row = standing.part(part.name)
    return found or float(max(abs(row["amps"][k]), row.get("amps_rms", np.zeros(standing.samples))[k]))


def _charging(today: Ground, supply: Supply) -> float:
    """I2t of the first charge that passes a fuse behind silicon at switch-on [A2s], on the highest mains; 0 behind a valve, which
    comes up as it warms."""
    if supply.kind == "valve" or supply.input != "capacitor":
        return 0.0
    wound = {(p.name, w.name): w for p in today.amplifier.of_kind("transformer") for w in p.windings}
    turns = sum(wound[w.part, w.winding].turns.value for w in supply.legs[0].windings if w.winding) / today.mark
    return first_charge(today.amplifier, supply, today.high)[1] / turns**2 if turns else 0.0


def _blown(fuse: Fuse, line: Sequence[Flows]) -> tuple[Blown, ...]:
    return tuple(
        Blown(
            text,
            a,
            a / fuse.amps,
            fuse.holds(a),
            fuse.blows_within(a),
            low,
            None if low is None else fuse.blows_within(low),
        )
        for text, a, low in line
    )
