"""From what is printed on a transformer to open-circuit volts, turns and ohms of its windings.

A printed secondary voltage is the LOADED one, with every winding at its rating. Unknown resistances follow from typical
regulation, half of it in the primary and half in the secondaries.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import log, sqrt
from typing import Literal

from firstglow.amplifier.drafts import Draft, taps
from firstglow.amplifier.model import DefaultUsed, Origin, Quantity, Winding
from firstglow.amplifier.windings import WindingText

# Typical regulation (no load to full load, over full load) by size [VA]; memory: maker catalogues (toroid), rule of
# thumb (EI), good to 30 % of itself.
REGULATION: Mapping[str, tuple[tuple[float, float], ...]] = {
    "EI": ((50.0, 0.15), (100.0, 0.10), (200.0, 0.08)),
    "toroid": (
        (15.0, 0.19),
        (30.0, 0.18),
        (50.0, 0.13),
        (80.0, 0.12),
        (120.0, 0.11),
        (160.0, 0.08),
        (225.0, 0.07),
        (300.0, 0.06),
        (500.0, 0.04),
    ),
}
# Mean power current of a winding that feeds a rectifier, over the dc it is rated for: a capacitor-input supply gives
# about 1.25 times the rms volts of one leg in dc volts, so V*I(mean power) = 1.25*V*Idc (common practice, 10 %).
DC_TO_AC = 1.25
MARKED_SPREAD = 0.03  # makers wind to about 3 % of the marked volts (common practice)
OPEN_SPREAD = 0.01  # a stated open-circuit figure
OHMS_SPREAD = 0.10  # stated ohms: copper, temperature of the room, winding tension
UNKNOWN_OHMS_SPREAD = 0.6
UNKNOWN_AMPS_SPREAD = 0.3
HT_GUESS_AMPS = 0.1
_DEFAULT = Origin("default", 0)


def regulation(volt_amps: float, build: str) -> float:
    """Typical regulation as a fraction of the loaded volts, interpolated on log VA, held beyond the table's ends."""
    rows = REGULATION[build]
    if volt_amps <= rows[0][0]:
        return rows[0][1]
    for (low, at_low), (high, at_high) in pairwise(rows):
        if volt_amps <= high:
            return at_low + (at_high - at_low) * log(volt_amps / low) / log(high / low)
    return rows[-1][1]


@dataclass(frozen=True, slots=True)
class Load:
    """What a secondary carries at its rating: ``amps`` as rated (None unknown), ``power_amps`` in phase with its volts
    while it conducts, ``share``: part of the time a side conducts (0.5 for each half of a full-wave winding)."""

    amps: float | None
    power_amps: float
    share: float
    guessed: bool


Fed = Literal["", "by halves", "whole"]
"""What a winding feeds: no rectifier, one that its halves take turns with, or one for the whole of it (a bridge across its ends)."""


def load_of(winding: WindingText, rectified: Fed, guess: float) -> Load:
    """The load at rating; ``rectified`` where the winding feeds a rectifier (its rating is then dc)."""
    amps = winding.amps if winding.amps is not None else guess
    share = 0.5 if rectified == "by halves" and "ct" in winding.leads else 1.0
    return Load(winding.amps, amps * (DC_TO_AC if rectified else 1.0), share, winding.amps is None)


def mains_windings(
    draft: Draft,
    nominal_volts: float,
    rectified: Callable[[WindingText], Fed],
    guess: Callable[[WindingText, bool], float],
    note: Callable[[DefaultUsed], None],
    joints: Callable[[WindingText], tuple[str, ...]],
) -> tuple[tuple[Winding, ...], float]:
    """Windings of a mains transformer, and the load [VA] of all of them at their ratings.

    nominal_volts: what the primary in use is marked for. rectified, guess: see ``load_of``. joints: where the leads of a winding
    are soldered.
    """
    texts = [w for w, _ in draft.windings.values()]
    loads = {w.name: load_of(w, rectified(w), guess(w, bool(rectified(w)))) for w in texts if not w.primary}
    volt_amps = sum(loads[w.name].power_amps * loads[w.name].share * w.volts for w in texts if not w.primary)
    if "volt_amps" in draft.values:
        volt_amps = draft.values["volt_amps"].value
    volt_amps = max(volt_amps, 1.0)
    build = draft.type or str(draft.words.get("build", "EI"))
    typical = regulation(volt_amps, build)
    primary_amps = volt_amps / nominal_volts
    primaries = [w for w in texts if w.primary]
    beside = {w.name: [o.name for o in primaries if set(joints(o)) == set(joints(w))] for w in primaries}
    out: list[Winding] = []
    ohms_of: dict[str, list[float]] = {}
    for text in primaries:
        origin = draft.windings[text.name][1]
        own = ohms_of[text.name] = []
        for side in text.sides:
            # the same wire all along a tapped winding: ohms go as the turns; windings beside each other share the amps
            amps = primary_amps / len(beside[text.name])
            own.append(side.ohms if side.ohms is not None else 0.5 * typical * side.volts / amps)
            volts = Quantity(side.volts, 0.0, "exact", origin)
            unknown = side.ohms is None
            out.append(_winding(side.name, side.start, side.end, volts, own[-1], unknown, text, "primary", origin))
            if unknown:
                said = f"{own[-1]:.3g} ohm", "60 % either way, from typical regulation"
                note(DefaultUsed(f"{draft.name} {side.name}", "ohms", *said))
    drop = primary_amps * _in_use(primaries, beside, ohms_of, nominal_volts) / nominal_volts if primaries else 0.0
    for text in (w for w in texts if not w.primary):
        out.extend(_secondary(draft, text, loads[text.name], typical, drop, note))
    return tuple(out), volt_amps


def _in_use(
    primaries: Sequence[WindingText], beside: Mapping[str, Sequence[str]], ohms: Mapping[str, Sequence[float]],
    nominal_volts: float,
) -> float:  # fmt: skip
    """Ohms of the primary on the mains: the part of the first whose volts come nearest to what it is marked for, all in series
    where their sum comes nearer, and what lies beside each other as that has it."""
    first = primaries[0]
    volts, sides = min(_spans(first), key=lambda s: abs(s[0] - nominal_volts))
    own = {w.name: sum(ohms[w.name]) for w in primaries}
    total = sum(w.volts / len(beside[w.name]) for w in primaries)
    if len(primaries) > 1 and abs(total - nominal_volts) < abs(volts - nominal_volts):
        return sum(own[w.name] / len(beside[w.name]) ** 2 for w in primaries)
    if len(beside[first.name]) > 1:
        return 1.0 / sum(1.0 / own[name] for name in beside[first.name])
    return sum(ohms[first.name][:sides])


def _spans(text: WindingText) -> list[tuple[float, int]]:
    """(volts, number of sides) from the start of a winding to each of its later leads."""
    total, out = 0.0, []
    for count, side in enumerate(text.sides, 1):
        total += side.volts
        out.append((total, count))
    return out


def _secondary(
    draft: Draft, text: WindingText, load: Load, typical: float, drop: float, note: Callable[[DefaultUsed], None]
) -> list[Winding]:
    """Sides of one secondary: open-circuit volts from the marked, loaded ones."""
    origin = draft.windings[text.name][1]
    out = []
    if load.guessed:
        note(DefaultUsed(f"{draft.name} {text.name}", "rated amps", f"{load.power_amps:.3g} A", "30 % either way"))
    for side in text.sides:
        share = load.share if len(text.sides) > 1 else 1.0
        ohms = side.ohms if side.ohms is not None else 0.5 * typical * side.volts / load.power_amps
        if side.ohms is None:
            note(
                DefaultUsed(
                    f"{draft.name} {side.name}", "ohms", f"{ohms:.3g} ohm", "60 % either way, from typical regulation"
                )
            )
        if text.open_volts:
            volts, spread = side.volts, OPEN_SPREAD
        else:
            # a half that conducts half the time loses its resistance's drop in half of the rms only
            volts = (side.volts + share * load.power_amps * ohms) / (1.0 - min(drop, 0.4))
            spread = MARKED_SPREAD + (0.02 if load.guessed or side.ohms is None else 0.0)
        spread = text.spread if text.spread is not None else spread
        turns = Quantity(volts, spread, "uniform", origin)
        out.append(_winding(side.name, side.start, side.end, turns, ohms, side.ohms is None, text, "secondary", origin))
    return out


def _winding(
    name: str,
    start: str,
    end: str,
    turns: Quantity,
    ohms: float,
    unknown: bool,
    text: WindingText,
    role: str,
    origin: Origin,
) -> Winding:
    stated = text.ohms_spread if text.ohms_spread is not None else OHMS_SPREAD
    resistance = Quantity(ohms, UNKNOWN_OHMS_SPREAD if unknown else stated, "uniform", _DEFAULT if unknown else origin)
    rating = Quantity(text.amps, 0.0, "exact", origin) if text.amps is not None else None
    return Winding(name, start, end, turns, resistance, rating, "primary" if role == "primary" else "secondary")


def output_windings(draft: Draft, values: Mapping[str, Quantity]) -> tuple[Winding, ...]:
    """Windings of an output transformer: turns relative to the secondary up to its lowest tap.

    Whole primary to secondary up to the tap that raa_ohms is stated for: sqrt(raa/load). The primary is wound from
    plate a through the centre to plate b; the secondary's sides carry their dots so that its hot ends follow the plate
    that ``in_phase`` names.
    """
    single = bool(draft.words.get("single_ended"))
    ohms = taps(draft)
    total = sqrt(values["raa_ohms"].value / values["load_ohms"].value) * sqrt(values["load_ohms"].value / ohms[0])
    tap = values["screen_tap"].value
    sides = draft.sides if len(draft.sides) == 2 else None
    out: list[Winding] = []
    copper = values["primary_ohms"]
    for half in ("a",) if single else ("a", "b"):
        turns = total if single else total / 2
        resistance = copper.value if single else (sides["ab".index(half)] if sides else copper.value / 2)
        stretches = [("plate", 1 - tap), ("screen", tap)] if tap else [("plate", 1.0)]
        for name, share in stretches if half == "a" else reversed(stretches):
            start, end = _primary_leads(name, half, bool(tap))
            out.append(
                Winding(
                    f"{name} {half}",
                    start,
                    end,
                    Quantity(turns * share, 0.01, "uniform", values["raa_ohms"].origin),
                    Quantity(resistance * share, copper.spread, copper.shape, copper.origin),
                    None,
                    "primary",
                )
            )
    return (*out, *_output_secondary(draft, ohms, values["secondary_ohms"]))


def _primary_leads(name: str, half: str, tapped: bool) -> tuple[str, str]:
    """Start and end of a stretch: along the winding from plate a over the centre to plate b."""
    outer = (f"plate {half}", f"screen {half}" if tapped else "centre")
    pair = outer if name == "plate" else (f"screen {half}", "centre")
    return pair if half == "a" else (pair[1], pair[0])


def _output_secondary(draft: Draft, ohms: Iterable[float], copper: Quantity) -> list[Winding]:
    all_ohms = list(ohms)
    lowest, most = all_ohms[0], sqrt(all_ohms[-1])
    below, turns_below = "common", 0.0
    out = []
    for tap in all_ohms:
        turns = sqrt(tap / lowest)
        share = (sqrt(tap) - turns_below * sqrt(lowest)) / most
        ends = (f"{tap:g}", below) if draft.words.get("in_phase", "a") == "a" else (below, f"{tap:g}")
        out.append(
            Winding(
                f"secondary {tap:g}",
                *ends,
                Quantity(turns - turns_below, 0.01, "uniform", copper.origin),
                Quantity(copper.value * share, copper.spread, copper.shape, copper.origin),
                None,
                "secondary",
            )
        )
        below, turns_below = f"{tap:g}", turns
    return out
