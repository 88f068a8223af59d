"""What resistors, capacitors, pots, chokes, diodes and the odd parts are asked, beside what they are rated for."""

from collections.abc import Callable, Iterator, Mapping
from math import sqrt

import numpy as np

from firstglow.amplifier.leg_types import Leg
from firstglow.amplifier.model import Part
from firstglow.amplifier.primaries import reflected_ohms
from firstglow.amplifier.roles_ends import is_safety, marked_as, may_stand
from firstglow.audit import crests
from firstglow.audit.cold_start import surge_volts
from firstglow.audit.ripple_rating import ripple_hertz, ripple_share
from firstglow.audit.stress import Stress, by_mains, least, most
from firstglow.audit.stress_line import PLAIN_SHARE, fuse, inlet, switch, wire
from firstglow.audit.stress_restart import Met, or_restart
from firstglow.audit.ways import Array, Stood
from firstglow.quantities import show

AIR = 50.0
"""Air inside a warm chassis [degC] (common practice)."""
HALF = 0.5
"""A resistor or a track is tight past half its watts (common practice; facts: res.derating, design rule 50 %)."""
WIREWOUND_WATTS = 4.0
"""A resistor whose make is not said counts as a wirewound from here on: only they are made so large (common practice)."""
BODY = ((0.25, 250.0), (0.5, 350.0), (1.0, 500.0), (np.inf, 500.0))
"""Working volts by watts up to [W, V]: leaded carbon film, normal bodies (maker's data sheet, facts: res.voltage_limit)."""
MINIATURE = "by a normal body of its watts; a miniature one stands less"
FILM_SHARE, ELECTROLYTIC_SHARE, SURGE_SHARE = 0.20, 0.10, 0.05
"""Margins under which a capacitor is tight: 80 % for film, ceramic 60 % (facts: cap.derating, from memory); B 20 %."""
BYPASS_SHARE = 1.0 / 3.0
"""A cathode's bypass is rated 1.5 times its volts at least (common practice)."""
REVERSE_VOLTS = 1.0
"""What an electrolytic stands the wrong way round [V] (IEC 60384-4 type tests, from memory)."""
ANY_BEARS = 50e-3
"""Ripple that an electrolytic for HT of some microfarads bears whoever made it (makers' sheets, from memory): nobody is sent to look."""
RIPPLE_AMPS = 5e-3
"""Less ripple than this no electrolytic feels [A rms] (common practice)."""
DIODE_SHARE = 0.20
SURGE_TIMES = 30.0
"""A silicon diode's one-cycle surge over its mean current: 30 A for the 1 A types (1N4001 to 1N4007, from memory)."""
INPUT_VOLTS, LOAD_VOLTS = 0.05, 0.1
"""Dc that may stand on an input and on a loudspeaker [V] (common practice)."""


def resistor(stood: Stood, part: Part) -> Iterator[Stress]:
    """Watts at the chassis's air, and volts across its body."""
    row = stood.row(part.name)
    watts = part.values.get("watts")
    wirewound = part.type == "wirewound" or (part.type is None and watts is not None and watts.value > WIREWOUND_WATTS)
    share = derate("wirewound" if wirewound else part.type or "film", AIR)
    note = f"{AIR:.0f} degC air leaves a wirewound {100 * share:.0f} % of its watts" if wirewound else ""
    rating = None if watts is None else watts.value * share
    yield from most(stood, part, "watts", "W", row["watts"] + stood.ripple_watts(part.name), rating, HALF, note=note)
    stated = part.values.get("volts")
    volts = stated.value if stated is not None else None if watts is None else body_volts(watts.value)
    across = np.abs(row["volts"]) + sqrt(2.0) * row.get("volts_ac", np.zeros(1))
    if "amps_peak" in row:  # a rectifier's pulses go through it
        across = np.maximum(across, row["amps_peak"] * part.value("ohms"))
    yield from most(stood, part, "volts", "V", across, volts, PLAIN_SHARE, note="" if stated is not None else MINIATURE)
    yield from _drifted(part)


def _drifted(part: Part) -> Iterator[Stress]:
    """A measured value beside the one that is drawn: how far off it is, less what the meter may be wrong by."""
    drawn, here = part.measured_from.get("ohms"), part.values["ohms"]
    if drawn is None or drawn.value <= 0.0 or here.origin.layer != "measured":
        return
    off = here.value / drawn.value - 1.0
    reach = 3.0 * drawn.spread if drawn.shape == "normal" else drawn.spread
    note = f"{show(here.value, 'ohm')} measured, {show(drawn.value, 'ohm')} {100.0 * reach:.3g} % drawn: {100.0 * off:+.0f} %"
    yield Stress(DRIFT, max(0.0, abs(off) - here.spread), "1", reach, "measured, power off", note=note)


DRIFT = "off its drawn ohms"
"""What a measured value's row is called: drifted past its tolerance it is unfit, whatever it dissipates."""


def derate(kind: str, degc: float) -> float:
    """Part of its watts that a resistor has at an air temperature: P(T) = Pn (T0 - T) / (T0 - Tr) above Tr (IEC 60115-1
    style; film 70 to 155 degC, facts: res.derating, others from memory)."""
    full, zero = {
        "wirewound": (25.0, 350.0), "carbon composition": (70.0, 130.0), "metal oxide": (70.0, 235.0),
    }.get(kind, (70.0, 155.0))  # fmt: skip
    return min(1.0, max(0.0, (zero - degc) / (zero - full)))


def body_volts(watts: float) -> float:
    """Working volts of a normal body of so many watts [V]."""
    return next(v for w, v in BODY if watts <= w)


def capacitor(stood: Stood, part: Part) -> Iterator[Stress]:
    """Working, surge and reverse volts, ripple current; on the mains side ac volts."""
    row = stood.row(part.name)
    rated = part.value("volts") if part.values.get("volts") else None
    plus, minus = part.leads["+"], part.leads["-"]
    volts = stood.dc(plus) - stood.dc(minus)
    if is_safety(part.type):
        across = np.abs(volts) + row.get("volts_ac", np.zeros(1))
        limit = None if rated is None else may_stand(part)
        note = (
            ""
            if rated is None
            else f"marked {marked_as(part)}, which mains 10 % over their own mark are allowed for in"
        )
        yield from most(stood, part, "ac volts", "V", across, limit, 0.0, note=note)
        return
    if not any(f"dc {j}" in stood.circuit.index for j in part.leads.values()):
        note = "only a capacitor of class X or Y may stand on the mains"
        yield from most(stood, part, "ac volts", "V", row.get("volts_ac", np.zeros(1)), rated, PLAIN_SHARE, note=note)
        return
    swung = np.abs(volts) * stood.swing(plus, minus)
    rings = _rings(volts, swung)
    if part.type != "electrolytic":
        crest = crests.across(stood, part)
        if (crest > swung * RINGS).any():
            swung, rings = np.maximum(crest, swung), "its winding's crest; what a dc meter shows of it is less"
        yield from most(stood, part, "working volts", "V", swung, rated, FILM_SHARE, stood.where(ends=True), note=rings)
        return
    # of a valve whose cathode stands on chassis nothing is bypassed
    cathodes = {p.leads["cathode"] for p in stood.amplifier.of_kind("valve")} - {"chassis", "earth"}
    share = BYPASS_SHARE if plus in cathodes else ELECTROLYTIC_SHARE
    yield from most(stood, part, "working volts", "V", volts, rated, share, stood.where(cold=False, ends=True))
    surge = None if rated is None else surge_volts(stood.amplifier, part.name, rated)
    again = stood.restart
    swing = None
    if again is not None and part.name in again.highest:
        high, low = again.highest[part.name], again.lowest[part.name]
        swing = high if high.value >= -low.value else Met(-low.value, low.text)
    cold = most(
        stood,
        part,
        "surge volts",
        "V",
        swung,
        surge,
        SURGE_SHARE,
        stood.where(cold=True, ends=True),
        rings,
        faults=False,
    )
    yield from or_restart(cold, swing)
    wrong = None if again is None else again.lowest.get(part.name)
    # the limit is one for hours; what a moment does is no sheet's, and told
    told = wrong is not None and -wrong.value > REVERSE_VOLTS
    note = f"and {-wrong.value:.0f} V for a moment: {wrong.text}" if told and wrong is not None else ""
    yield from most(stood, part, "reverse volts", "V", np.maximum(-volts, 0.0), REVERSE_VOLTS, HALF, note=note)
    yield from _ripple(stood, part)


def _rings(settled: Array, swung: Array) -> str:
    """What a switch-on adds to the volts at which it settles, in words; "" where it adds none."""
    k = int(np.argmax(swung))
    if swung[k] <= RINGS * abs(settled[k]):
        return ""
    return f"it settles at {abs(settled[k]):.0f} V: the choke rings into it at a switch-on (a doubler or a choke input up to 5 % further)"


RINGS = 1.02
"""Times the volts at which it settles, from which on a choke is said to ring."""


def _ripple(stood: Stood, part: Part) -> Iterator[Stress]:
    """Of a capacitor that a rectifier charges, and of one whose ripple rating is said."""
    row, rated = stood.row(part.name), part.values.get("ripple_amps")
    share, note = ripple_share(stood, part), "at idle; at full power the supply's is higher"
    if share < 1.0:
        counts = f"{100 * share:.0f} % of a sheet's figure for 100 or 120 Hz count"
        note += f"; {ripple_hertz(stood, part):g} Hz here, where {counts}"
    amps = row.get("amps_rms", np.zeros(1))
    if "amps_rms" not in row and part.name in stood.ripple_amps:
        limit, value = None if rated is None else share * rated.value, stood.ripple_amps[part.name]
        asked, where = rated is not None or value > ANY_BEARS, "running, highest mains"
        yield Stress("ripple amps, rms", value, "A", limit, where, tight=0.3, note=note, judged=asked)
    elif rated is not None or float(np.max(amps)) > RIPPLE_AMPS:
        yield from most(
            stood, part, "ripple amps, rms", "A", amps, None if rated is None else share * rated.value, 0.3,
            stood.where(cold=False), note,
        )  # fmt: skip


def pot(stood: Stood, part: Part) -> Iterator[Stress]:
    """Its busier side's current through the whole track: that is how a track is rated."""
    ohms = part.value("ohms")
    at = stood.standing.values[stood.circuit.column[f"{part.name} position"]]
    one, wiper, two = (stood.dc(part.leads[lead]) for lead in ("end 1", "wiper", "end 2"))
    contact = part.value("wiper_ohms")
    sides = []
    for volts, share in ((one, at), (two, 1.0 - at)):
        # at an end of the travel the wiper's own contact is all there is
        sides.append(np.abs(volts - wiper) / np.maximum(share * ohms, max(contact, 1.0)) * (share > 1e-3))
    whole = np.abs(stood.row(part.name).get("amps", np.zeros(1)))
    amps = np.maximum(np.maximum(sides[0], sides[1]), whole)
    rated = part.values.get("watts")
    yield from most(
        stood, part, "track watts", "W", amps**2 * ohms, None if rated is None else rated.value, HALF,
        note="its busier side's current through the whole track",
    )  # fmt: skip


def choke(stood: Stood, part: Part) -> Iterator[Stress]:
    """Dc amps."""
    rated = part.values.get("amps")
    yield from most(
        stood, part, "amps, dc", "A", stood.row(part.name)["amps"], None if rated is None else rated.value, PLAIN_SHARE
    )


def diode(stood: Stood, part: Part) -> Iterator[Stress]:
    """Peak inverse volts, mean amps, surge at switch-on."""
    row = stood.row(part.name)
    rated, amps = part.values.get("volts"), part.values.get("amps")
    volts = rated.value if rated is not None and rated.value > 0 else None
    mean = amps.value if amps is not None and amps.value > 0 else None
    moved = crests.inverse(stood, part)
    apart = inverse(stood, part.leads["anode"], part.leads["cathode"]) if moved is None else moved
    for leg in _legs(stood, part.name, "doubler") if moved is None else ():
        # a joint fed through a capacitor swings from nothing to both crests, which no mean and no phasor of it shows
        apart = np.maximum(apart, 2.0 * source(stood, leg)[0])
    yield from most(stood, part, "peak inverse volts", "V", apart, volts, DIODE_SHARE)
    yield from most(stood, part, "amps, mean", "A", row["amps"], mean, DIODE_SHARE, stood.where(cold=False))
    if part.type != "selenium":
        for leg in _legs(stood, part.name):
            volts_peak, ohms = source(stood, leg)
            surge = None if mean is None else SURGE_TIMES * mean
            note = f"{ohms:.3g} ohm of windings in its way; {SURGE_TIMES:.0f} times its mean current (1N4007: 30 A)"
            yield from most(
                stood,
                part,
                "surge amps at switch-on",
                "A",
                volts_peak / ohms,
                surge,
                DIODE_SHARE,
                stood.where(cold=True),
                note,
                faults=False,
            )
            break


def inverse(stood: Stood, anode: str, cathode: str) -> Array:
    """Peak inverse volts (way,): what the dc leaves across it and the winding's crest on top; 2 sqrt 2 E with one winding of
    E volts and a reservoir at its crest."""
    dc = stood.dc(cathode) - stood.dc(anode)
    return np.asarray(np.maximum(dc + sqrt(2.0) * np.abs(stood.ac(anode) - stood.ac(cathode)), 0.0))


def _legs(stood: Stood, rectifier: str, form: str = "") -> Iterator[Leg]:
    """The legs that it stands in, of supplies whose form ends so."""
    for supply in stood.roles.supplies:
        for leg in supply.legs:
            if rectifier in leg.rectifiers and supply.form.endswith(form):
                yield leg


def source(stood: Stood, leg: Leg) -> tuple[Array, float]:
    """Crest of a leg's winding volts (way,) [V], and the ohms in its way: windings with the primary's reflected, resistors."""
    ohms = 0.0
    for step in leg.windings:
        part = stood.amplifier.parts[step.part]
        if not step.winding:  # a bench supply
            ohms += part.value("ohms")
            continue
        w = next(w for w in part.windings if w.name == step.winding)
        ohms += abs(step.sign) * w.ohms.value
        ohms += abs(step.sign) * w.turns.value**2 * reflected_ohms(stood.amplifier, part)
    for name in (*leg.series_ac, *leg.series_dc, *(r for stage in leg.stages for r in stage[0].series)):
        ohms += (
            stood.amplifier.parts[name].values["ohms"].value if "ohms" in stood.amplifier.parts[name].values else 0.0
        )
    return crests.crest_of(stood, leg), max(ohms, 1e-3)


def lamp(stood: Stood, part: Part) -> Iterator[Stress]:
    """Its volts."""
    volts = np.hypot(stood.row(part.name).get("volts_ac", 0.0), stood.row(part.name)["volts"])
    yield from by_mains(
        stood, part, "volts", "V", volts, 1.1 * part.value("volts"), 0.045, stood.where(level="now", runs=True),
        "10 % over its mark", faults=False,
    )  # fmt: skip


def gas_tube(stood: Stood, part: Part) -> Iterator[Stress]:
    """Between the current that holds its glow and the most it may carry."""
    amps = np.abs(stood.row(part.name)["amps"])
    yield from most(stood, part, "amps", "A", amps, part.value("amps_max"), PLAIN_SHARE)
    yield from least(
        stood, "least amps", "A", amps, part.value("amps_min"), PLAIN_SHARE, stood.where(runs=True), "holds the glow"
    )


def terminals(stood: Stood, part: Part) -> Iterator[Stress]:
    """Dc on an input or on a loudspeaker."""
    limit = INPUT_VOLTS if part.kind == "input" else LOAD_VOLTS
    yield from most(stood, part, "dc volts on it", "V", stood.dc(part.leads["hot"]), limit, HALF)


def supply(stood: Stood, part: Part) -> Iterator[Stress]:
    """A bench supply's amps."""
    yield from most(stood, part, "amps", "A", stood.row(part.name).get("amps", np.zeros(1)), None, 0.0)


PASSIVE: Mapping[str, Callable[[Stood, Part], Iterator[Stress]]] = {
    "resistor": resistor,
    "capacitor": capacitor,
    "pot": pot,
    "choke": choke,
    "diode": diode,
    "fuse": fuse,
    "switch": switch,
    "wire": wire,
    "lamp": lamp,
    "gas tube": gas_tube,
    "inlet": inlet,
    "input": terminals,
    "load": terminals,
    "supply": supply,
}
