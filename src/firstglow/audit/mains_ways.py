"""Ways to bring today's mains to what the transformer is marked for: another tap, a bucking (or boosting) winding, a
resistor in the primary. Each is the whole amplifier solved anew with the change made: running with the presets set again,
at a guess of full power, and at a switch-on with nothing drawing.

A bucking winding is a source of its own. Its transformer stands across the mains; turned against them, the winding leaves
V (1 - n) behind the ohms of both its windings, n its open-circuit ratio. The current flows against the winding's emf, so
that under load it takes off n V and its copper's drop: a little more than its mark.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt
from typing import Literal

import numpy as np

from firstglow.amplifier.primaries import copper_ohms
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.transformers import regulation
from firstglow.audit.altered import AHEAD, on_tap, taps, with_ohms_ahead
from firstglow.audit.figures import Figures, changed, cold, figures, mains_transformer, run, settled
from firstglow.audit.mains_now import Today
from firstglow.markings.made import made_watts
from firstglow.markings.series import around, is_preferred
from firstglow.solver.circuit import Circuit, compile_circuit

Kind = Literal["tap", "bucking winding", "boosting winding", "resistor in the primary"]
RANK: tuple[Kind, ...] = ("tap", "bucking winding", "boosting winding", "resistor in the primary")
"""Least new in the set, least lost at full power, first."""
WINDINGS = (5.0, 6.0, 6.3, 9.0, 12.0, 15.0, 18.0, 20.0, 24.0, 30.0)
"""Secondary volts of small transformers as sold (common practice)."""
SIZES = (6.0, 10.0, 15.0, 20.0, 30.0, 50.0, 80.0, 100.0)
"""Their volt-amperes as sold (common practice)."""
PRIMARIES = (100.0, 115.0, 120.0), (220.0, 230.0, 240.0)
"""Their primaries' marks, below and above 160 V."""
ROOM = 1.25
"""Amps that a bucking winding is rated for over the most that it carries (common practice)."""
TWICE = 2.0
"""Watts that a resistor is rated for over the most that it turns into heat (common practice)."""
ALIKE = 0.1
"""Windings nearer to each other than this are one choice."""
EACH = 2
"""How many of each kind are shown."""
E24_SPAN = 0.45, 1.7
"""Resistors tried, of the ohms that Ohm's law asks for."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way, proved. what: to fit or do. buy: figures of the part, by name in SI. at: running; full: at a guess of full
    power; switch_on: HT joint -> most volts before anything draws, on the highest mains. inrush: what the first half cycle
    cannot pass [A peak], of copper alone. sag, sag_before: HT volts between idle and full power, with it and without.
    miss: primary volts over the mark, less 1. aim: what it was chosen for. not_cured: what it leaves. cautions: where
    mains wiring is touched."""

    kind: Kind
    what: str
    buy: Mapping[str, float]
    at: Figures
    full: Figures
    switch_on: Mapping[str, float]
    inrush: float
    sag: float
    sag_before: float
    miss: float
    aim: str
    not_cured: tuple[str, ...]
    cautions: tuple[str, ...]


@dataclass(frozen=True)
class _Trial:
    """A way before it is solved: what stands at the amplifier's inlet, and what is changed in its circuit."""

    kind: Kind
    what: str
    volts: float
    high: float
    ohms: float = 0.0
    buy: Mapping[str, float] = field(default_factory=dict)


def ways(today: Today) -> tuple[Way, ...]:
    """The few that come nearest, ranked: by kind, then by how near they bring the primary. Empty where the mains are on the
    mark."""
    if not today.needs:
        return ()
    found = [*_taps(today), *_windings(today), *(_resistors(today) if today.over > 0 else ())]
    order = sorted(found, key=lambda w: (RANK.index(w.kind), abs(w.miss)))
    return tuple(w for kind in RANK for w in [x for x in order if x.kind == kind][:EACH])


# -- taps ------------------------------------------------------------------------------------------------------------
def _taps(today: Today) -> Iterator[Way]:
    """Taps that come nearer to the mains than the one in use."""
    part = mains_transformer(today.amplifier)
    if part is None:
        return
    for tap in taps(today.amplifier, part):
        if abs(today.now / tap.volts - 1.0) < abs(today.over) - 0.002:
            circuit = compile_circuit(with_ohms_ahead(on_tap(today.amplifier, tap)))
            what = f"{tap.text}, the {tap.volts:g} V tap"
            yield _prove(today, circuit, [_Trial("tap", what, today.now, today.high, buy={"tap_volts": tap.volts})])[0]


# -- bucking and boosting --------------------------------------------------------------------------------------------
def _windings(today: Today) -> Iterator[Way]:
    """Small transformers as sold whose winding brings the primary nearest to its mark."""
    amps = max(today.at_now.mains_amps, today.full.mains_amps)
    primary = min(PRIMARIES[today.now > 160.0], key=lambda v: abs(v - today.now))
    down = today.over > 0
    trials = []
    for volts in WINDINGS:
        if not 0.25 * abs(today.now - today.mark) < volts * today.now / primary < 2.0 * abs(today.now - today.mark):
            continue
        size = next((s for s in SIZES if s >= ROOM * volts * amps), None)
        if size is not None:
            ratio, ohms, rated = winding(volts, size, primary)
            left = 1.0 - ratio if down else 1.0 + ratio
            kind: Kind = "bucking winding" if down else "boosting winding"
            buy = {
                "primary_volts": primary, "winding_volts": volts, "winding_amps": rated, "volt_amps": size,
                "carries_amps": amps, "open_ratio": ratio, "ohms": ohms,
            }  # fmt: skip
            way = "against" if down else "with"
            what = (
                f"a {primary:g} V transformer with a {volts:g} V {rated:.2g} A winding ({size:g} VA), {way} the mains"
            )
            trials.append(_Trial(kind, what, today.now * left, today.high * left, ohms, buy))
    if trials:
        near = _tried(today, trials)
        chosen: list[_Trial] = []
        for k in sorted(near, key=lambda k: abs(near[k].primary_volts / today.mark - 1.0)):
            volts = trials[k].buy["winding_volts"]
            if all(abs(volts / t.buy["winding_volts"] - 1.0) > ALIKE for t in chosen):
                chosen.append(trials[k])
        yield from _prove(today, today.circuit, chosen[:EACH])


def winding(volts: float, size: float, primary: float) -> tuple[float, float, float]:
    """Open-circuit ratio, ohms of both windings seen from the secondary, and rated amps, of a small transformer by its marks:
    the marked volts stand at rated amps, and typical regulation (EI) is what its copper drops then."""
    rated = size / volts
    drop = regulation(size, "EI")
    return volts * (1.0 + drop) / primary, drop * volts / rated, rated


# -- a resistor ------------------------------------------------------------------------------------------------------
def _resistors(today: Today) -> Iterator[Way]:
    """E24 values around what Ohm's law asks for: the nearest for the heaters, the nearest for HT, and where both are one
    value its neighbour."""
    first = (today.now - today.mark) / today.at_now.mains_amps
    values = e24(E24_SPAN[0] * first, E24_SPAN[1] * first)
    trials = [_Trial("resistor in the primary", "", today.now, today.high, r, {"ohms": r}) for r in values]
    near = _tried(today, trials)
    if not near:
        return
    heaters = min(near, key=lambda k: abs(near[k].heater_ratio / today.at_mark.heater_ratio - 1.0))
    chosen = {heaters: "heaters as on the mark"}
    joint = next(iter(today.at_mark.ht), None)
    if joint is not None:
        ht = min(near, key=lambda k: abs(near[k].ht[joint] / today.at_mark.ht[joint] - 1.0))
        chosen.setdefault(ht, "HT as on the mark")
        if ht == heaters:
            chosen[heaters] += ", HT too"
            less = max((k for k in near if k < heaters), default=None)
            if less is not None:
                chosen[less] = "its neighbour: less heat, less brought down"
    proved = _prove(today, today.circuit, [trials[k] for k in chosen])
    aims = {trials[k].ohms: aim for k, aim in chosen.items()}
    yield from (_as_resistor(today, w, aims[w.buy["ohms"]]) for w in proved)


def e24(low: float, high: float) -> list[float]:
    """Every E24 value from low to high [ohm]."""
    out = [around(float(low), "E24")[1]]
    while out[-1] < high:
        out.append(around(out[-1] * 1.001, "E24")[1])
    return out


def _as_resistor(today: Today, way: Way, aim: str) -> Way:
    """The same with its watts, and its name in bench words."""
    ohms = way.buy["ohms"]
    amps = max(way.at.mains_amps, way.full.mains_amps)
    heat = ohms * amps**2
    rated = made_watts(TWICE * heat, "wirewound")
    series = "E12" if is_preferred(ohms, "E12") else "E24"
    rating = f"{rated:g} W" if rated else "more watts than one is made for"
    return Way(
        way.kind, f"{ohms:.3g} ohm ({series}), {rating} wirewound in the line, behind fuse and switch",
        {"ohms": ohms, "amps_rms": amps, "heat_watts": heat, "rated_watts": rated or 0.0}, way.at, way.full, way.switch_on,
        way.inrush, way.sag, way.sag_before, way.miss, aim, way.not_cured, way.cautions,
    )  # fmt: skip


# -- proof -----------------------------------------------------------------------------------------------------------
def _tried(today: Today, trials: Sequence[_Trial]) -> dict[int, Figures]:
    """Each running; by its number, without those that would not settle."""
    running, _ = run(today.circuit, [Situation(t.volts) for t in trials], [_ahead(t) for t in trials])
    return {
        k: figures(today.circuit.amplifier, today.roles, running, k) for k in range(len(trials)) if running.settled[k]
    }


def _prove(today: Today, circuit: Circuit, trials: Sequence[_Trial]) -> list[Way]:
    """Each solved whole; one that would not settle is left out."""
    running, pots = run(circuit, [Situation(t.volts) for t in trials], [_ahead(t) for t in trials])
    each = list(zip(trials, pots, strict=True))
    loaded = [changed(circuit, Situation(t.volts, pots=p, loads=today.extra), _ahead(t)) for t, p in each]
    full_power = settled(circuit, np.stack(loaded, axis=1), running.x)
    empty = [cold(circuit, changed(circuit, Situation(t.high, pots=p), _ahead(t))) for t, p in each]
    switched = circuit.solve(np.stack(empty, axis=1), strict=False)
    mark = trials[0].buy.get("tap_volts", today.mark)
    out = []
    for k, t in enumerate(trials):
        if running.settled[k] and full_power.settled[k] and switched.settled[k]:
            at, full, on = (figures(circuit.amplifier, today.roles, of, k) for of in (running, full_power, switched))
            ring = {h.joint: h.ring for h in today.held}
            out.append(
                Way(
                    t.kind, t.what, t.buy, at, full, {j: ring.get(j, 1.0) * v for j, v in on.ht.items()}, inrush(today, t.high, t.ohms),
                    _sag(at, full), _sag(today.at_now, today.full), at.primary_volts / mark - 1.0, "",
                    NOT_CURED[t.kind], CAUTIONS[t.kind],
                )
            )  # fmt: skip
    return out


def _ahead(trial: _Trial) -> dict[str, float]:
    return {f"{AHEAD} ohms": trial.ohms} if trial.ohms else {}


def _sag(idle: Figures, full: Figures) -> float:
    joint = next(iter(idle.ht), None)
    return 0.0 if joint is None else idle.ht[joint] - full.ht[joint]


def inrush(today: Today, volts: float, ohms: float) -> float:
    """Peak amps that no first half cycle can pass: the crest over all copper in the way, with a core that has saturated and
    gives no back emf at all [A]."""
    part = mains_transformer(today.amplifier)
    copper = copper_ohms(today.amplifier, part) if part is not None else 0.0
    return sqrt(2.0) * volts / (copper + ohms)


NOT_CURED: Mapping[Kind, tuple[str, ...]] = {
    "tap": ("nothing but the volts: what was unfit on the mark stays unfit",),
    "bucking winding": (
        "mains that wander: it takes off the same share of whatever comes",
        "what was unfit on the mark stays unfit",
    ),
    "boosting winding": ("mains that wander", "what was unfit on the mark stays unfit"),
    "resistor in the primary": (
        "HT at a switch-on: before the valves draw little flows and little drops",
        "mains that wander; at full power HT sags more",
    ),
}
CAUTIONS: Mapping[Kind, tuple[str, ...]] = {
    "tap": ("plug out; the lead that is left stays live at its own volts: insulate it",),
    "bucking winding": (
        (
            "its low winding stands on the mains: insulation of the mains class from winding to core and to the other winding, as a "
            "bell transformer with an earthed winding has not; core earthed; both windings behind the set's fuse and switch"
        ),
        (
            "phase: joined right, the volts behind it are LOWER than the mains. Measured with the set unplugged from it; if higher, "
            "exchange the two leads of ONE winding"
        ),
    ),
    "boosting winding": (
        "its low winding stands on the mains: insulation of the mains class; core earthed; both windings behind the set's fuse",
        "phase: joined right, the volts behind it are HIGHER than the mains; if lower, exchange the two leads of ONE winding",
    ),
    "resistor in the primary": (
        (
            "it stands on the mains and runs hot: wirewound of flame-proof make, on its own insulated tags, covered, in moving air, clear "
            "of capacitors and wiring"
        ),
    ),
}
