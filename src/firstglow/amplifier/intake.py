"""Reads ``[intake]``: what is known of the amplifier before mains, and what of it contradicts the drawing."""

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from firstglow.amplifier.aside import FuseFound, Intake, PluggedIn, Speed
from firstglow.amplifier.document import Document
from firstglow.amplifier.mistakes import Mistakes, nearest, nearest_part, short
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.options import find_parts
from firstglow.quantities import QuantityError, plain, read_value

KEYS: Mapping[str, str] = {
    "plugged_in": "yes, no or unknown: has it been on the mains since you have it",
    "story": "what is told of it: dropped, a bang, the last repair",
    "missing": "what is not there: parts by name, or in words",
    "fuse": "the fuse as found: 2A slow; with several fuses { F1 = 2A slow, F2 = ... }",
    "selector": "volts that the voltage selector stands on: 115V, 220-240V",
    "original": "parts that must stay",
    "country": "whose limits count for the mains side: UK, DE, AT, CH, EU, US, CA, AU, NZ, JP",
    "plug": "the plug on its cord, in words",
    "polarised": "true where the plug goes in one way only",
    "cord": "length of the mains cord: 3 m",
}
PLUGGED: tuple[PluggedIn, ...] = ("yes", "no", "unknown")
COUNTRIES = ("UK", "DE", "AT", "CH", "EU", "US", "CA", "AU", "NZ", "JP")
# Countries whose usual plugs go in one way only (common practice); elsewhere it is said in the file, or not known.
ONE_WAY = ("UK", "CH", "AU", "NZ", "US", "CA")
SAME = 1.05  # fuses whose marks differ by less are one rating (a step of IEC 60127's R10 series is 1.25)
_SLOW, _QUICK = ("slow", "t", "tt", "timelag", "time-lag", "antisurge", "delay"), ("fast", "quick", "f", "ff")
_VOLTS = re.compile(r"(\d{2,3})\s*V?\s*(?:-|to)\s*(\d{2,3})\s*V?(?:ac)?")


def read_intake(document: Document, amplifier: Amplifier) -> Intake | None:
    """The table, None where there is none; what cannot be used is noted among the mistakes."""
    table, mistakes = document.data.get("intake"), document.mistakes
    if table is None:
        return None
    if not isinstance(table, dict):
        mistakes.add(("intake",), "intake", "this is no table", "a table [intake]", "[intake]")
        return None
    for key in table:
        if key not in KEYS:
            mistakes.key(("intake", key), "intake", key, KEYS)
    return Intake(
        plugged_in=_one_of(table, "plugged_in", PLUGGED, "unknown", mistakes),
        story=_text(table, "story", mistakes, 400),
        missing=_missing(table, mistakes),
        fuses=_fuses(table, amplifier, mistakes),
        selector=_selector(table, mistakes),
        original=_originals(table, amplifier, mistakes),
        country=_one_of(table, "country", COUNTRIES, "", mistakes),
        plug=_text(table, "plug", mistakes, 80),
        polarised=_yes(table, mistakes),
        cord_metres=_cord(table, mistakes),
        lines={key: mistakes.line(("intake", key)) for key in table},
    )


def with_originals(amplifier: Amplifier) -> Amplifier:
    """What must stay original, carried on the parts: ``words["original"]`` is True there."""
    if amplifier.intake is None or not amplifier.intake.original:
        return amplifier
    parts = {
        name: replace(p, words={**p.words, "original": True}) if name in amplifier.intake.original else p
        for name, p in amplifier.parts.items()
    }
    return replace(amplifier, parts=parts)


def _one_of(table: Mapping[str, Any], key: str, known: tuple[Any, ...], default: Any, mistakes: Mistakes) -> Any:
    value = table.get(key, default)
    if isinstance(value, bool) and key == "plugged_in":
        return "yes" if value else "no"
    if value == default or value in known:
        return value
    near = nearest(str(value), known) or known[0]
    mistakes.add(("intake", key), "intake", f"{key} = {short(value)!r}", ", ".join(known), f'{key} = "{near}"')
    return default


def _text(table: Mapping[str, Any], key: str, mistakes: Mistakes, most: int) -> str:
    value = table.get(key, "")
    if isinstance(value, str) and len(value) <= most:
        return " ".join(value.split())
    example = {"story": "from a school hall, silent", "plug": "Schuko"}[key]
    allowed = f"a text of at most {most} characters"
    mistakes.add(("intake", key), "intake", f"{key} = {short(value)!r}", allowed, f'{key} = "{example}"')
    return ""


def _list(table: Mapping[str, Any], key: str, mistakes: Mistakes) -> list[str]:
    value = table.get(key, [])
    if isinstance(value, list) and len(value) <= 60 and all(isinstance(v, str) and 0 < len(v) <= 80 for v in value):
        return [" ".join(v.split()) for v in value]
    allowed = "a list of at most 60 texts"
    mistakes.add(("intake", key), "intake", f"{key} = {short(value)}", allowed, f'{key} = ["F1"]')
    return []


def _missing(table: Mapping[str, Any], mistakes: Mistakes) -> tuple[str, ...]:
    return tuple(_list(table, "missing", mistakes))


def _originals(table: Mapping[str, Any], amplifier: Amplifier, mistakes: Mistakes) -> tuple[str, ...]:
    """Canonical names; a valve is its glass's sections, a can its capacitors."""
    out: list[str] = []
    for number, word in enumerate(_list(table, "original", mistakes)):
        names = find_parts(amplifier, word) or tuple(
            p.name for p in amplifier.parts.values() if word in (p.envelope, p.words.get("can"))
        )
        if not names:
            known = [*amplifier.parts, *(p.envelope for p in amplifier.parts.values() if p.envelope)]
            near = nearest_part(word, known) or next(iter(amplifier.parts), "taking it out")
            found, at = f"there is no part {short(word)!r}", ("intake", "original", str(number))
            mistakes.add(at, "intake", found, "parts of this amplifier", f'"{near}"')
        out += names
    return tuple(dict.fromkeys(out))


def _yes(table: Mapping[str, Any], mistakes: Mistakes) -> bool | None:
    value = table.get("polarised")
    if value is None or isinstance(value, bool):
        return value
    found = f"polarised = {short(value)!r}"
    mistakes.add(("intake", "polarised"), "intake", found, "true or false", "polarised = true")
    return None


def _cord(table: Mapping[str, Any], mistakes: Mistakes) -> float | None:
    value = table.get("cord")
    if value is None:
        return None
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*m", value.strip()) if isinstance(value, str) else None
    if match and 0.2 <= float(match[1]) <= 100.0:
        return float(match[1])
    mistakes.add(("intake", "cord"), "intake", f"cord = {short(value)!r}", "0.2 to 100 m", 'cord = "2 m"')
    return None


def _selector(table: Mapping[str, Any], mistakes: Mistakes) -> tuple[float, float] | None:
    value = table.get("selector")
    if value is None:
        return None
    text = plain(value).strip() if isinstance(value, str) else ""
    match = _VOLTS.fullmatch(text)
    try:
        ends = (float(match[1]), float(match[2])) if match else (read_value(text, "V"),) * 2
    except QuantityError:
        ends = (0.0, 0.0)
    if 50.0 <= ends[0] <= ends[1] <= 500.0:
        return ends
    found, allowed = f"selector = {short(value)!r}", "volts as marked beside it, 50 to 500 V"
    mistakes.add(("intake", "selector"), "intake", found, allowed, 'selector = "230V"')
    return None


def mains_fuses(amplifier: Amplifier) -> list[Part]:
    """Fuses on the mains side: between the inlet and a primary, through switches and other fuses."""
    reached = _reached(amplifier, "line") | _reached(amplifier, "neutral")
    return [p for p in amplifier.of_kind("fuse") if reached & set(p.leads.values())]


def _reached(amplifier: Amplifier, pin: str) -> set[str]:
    """Joints from a pin of the inlet through fuses, switches and wires."""
    reached = {p.leads[pin] for p in amplifier.of_kind("inlet") if pin in p.leads}
    through = amplifier.of_kind("fuse", "switch", "wire")
    for _ in through:
        reached |= {j for p in through if reached & set(p.leads.values()) for j in p.leads.values() if j != "chassis"}
    return reached


def _fuses(table: Mapping[str, Any], amplifier: Amplifier, mistakes: Mistakes) -> tuple[FuseFound, ...]:
    value = table.get("fuse")
    if value is None:
        return ()
    if isinstance(value, dict):
        said = list(value.items())
    else:
        mains = mains_fuses(amplifier)
        if len(mains) != 1:
            names = [p.name for p in amplifier.of_kind("fuse")]
            found = "which fuse it is is not said" if names else "the file has no fuse"
            allowed = f"fuses: {', '.join(names)}" if names else "a line for the fuse as drawn"
            remedy = f'fuse = {{ {names[0]} = "1A slow" }}' if names else 'F1 = ["fuse 1A slow", "line", "fused line"]'
            if not mistakes.found:
                mistakes.add(("intake", "fuse"), "intake", found, allowed, remedy)
            return ()
        said = [(mains[0].name, value)]
    out = []
    for word, text in said:
        names_of = [n for n in find_parts(amplifier, word) if amplifier.parts[n].kind == "fuse"]
        if not names_of:
            fuses = [p.name for p in amplifier.of_kind("fuse")]
            found, near = f"there is no fuse {short(word)!r}", nearest(word, fuses) or (fuses or ["F1"])[0]
            allowed = f"fuses: {', '.join(fuses) or 'none'}"
            mistakes.add(("intake", "fuse", word), "intake", found, allowed, f'{near} = "1A slow"')
            continue
        found_one = _fuse(names_of[0], text, mistakes.line(("intake", "fuse", word)), mistakes)
        out += [found_one] if found_one else []
    return tuple(out)


def _fuse(part: str, value: Any, line: int, mistakes: Mistakes) -> FuseFound | None:
    """``2A slow``, ``T2A``, ``500mA F``, ``T500mAL250V``."""
    text = plain(" ".join(value.split())) if isinstance(value, str) else ""
    cap = re.fullmatch(r"(TT|T|FF|F|M)?\s*(\d+(?:\.\d+)?)\s*(m?)A\s*([LEH]?(?:\s*\d+V)?)?\s*([\w-]*)", text)
    if cap:
        amps = float(cap[2]) * (1e-3 if cap[3] else 1.0)
        word = (cap[1] or cap[5] or "").lower()
        if 0.01 <= amps <= 30.0 and (not word or word in (*_SLOW, *_QUICK, "m")):
            speed: Speed = "slow" if word in _SLOW else "quick" if word in _QUICK else ""
            return FuseFound(part, amps, speed, text, line)
    allowed = "its mark: amperes from 10 mA to 30 A, then slow or fast"
    mistakes.add(line, "intake", f"fuse as found: {short(value)!r}", allowed, '"1A slow"')
    return None


# -- what it contradicts -----------------------------------------------------------------------------------------
def contradictions(amplifier: Amplifier) -> tuple[str, ...]:
    """What was found against what the file says; one line each, with what to do."""
    intake = amplifier.intake
    if intake is None:
        return ()
    return (
        *_selector_off(amplifier, intake),
        *_fuses_off(amplifier, intake),
        *_fuse_in_neutral(amplifier, intake),
        *_missing_parts(intake),
    )


def one_way(intake: Intake | None) -> bool:
    """Whether line and neutral are told apart by the plug: as said, else as usual in the country."""
    if intake is None:
        return False
    return intake.country in ONE_WAY if intake.polarised is None else intake.polarised


def _fuse_in_neutral(amplifier: Amplifier, intake: Intake) -> list[str]:
    """A fuse drawn in the neutral alone, where the plug tells which is which: opened, it leaves the set at line volts."""
    if not one_way(intake):
        return []
    line, neutral = _reached(amplifier, "line"), _reached(amplifier, "neutral")
    out = []
    for part in mains_fuses(amplifier):
        ends = set(part.leads.values())
        if ends & neutral and not ends & line and not any(set(f.leads.values()) & line for f in mains_fuses(amplifier)):
            out.append(
                f"{part.name} (line {part.origin.line}) is drawn in the neutral: once it opens, all of the mains side "
                "still stands at the line's volts. Draw and wire it in the line, ahead of the switch; local rules may "
                "ask for both conductors."
            )
    return out


def _selector_off(amplifier: Amplifier, intake: Intake) -> list[str]:
    """A selector on other volts than the primary that the file draws."""
    if intake.selector is None:
        return []
    low, high = intake.selector
    mark = amplifier.mains_volts
    if low / SAME <= mark <= high * SAME:
        return []
    told = f"{low:g} V" if low == high else f"{low:g} to {high:g} V"
    if high < mark:
        danger = (
            f"on {mark:g} V of mains every winding would give {mark / high:.2g} times its volts, HT and heaters alike"
        )
    else:
        danger = f"on {mark:g} V of mains every reading would be low, at {mark / low:.2g} of what the sheet expects"
    line = intake.lines.get("selector", 0)
    text = (
        f"The voltage selector (line {line}) stands on {told} and the primary in use is marked for {mark:g} V: {danger}. "
        f"Unplugged, set it to {mark:g} V, change the fuse with it, and read the primary's ohms again on rung 0."
    )
    return [text]


def _fuses_off(amplifier: Amplifier, intake: Intake) -> list[str]:
    """A fuse of another rating or another speed than the drawn one."""
    out = []
    for found in intake.fuses:
        part = amplifier.parts[found.part]
        drawn = part.values["amps"].value if "amps" in part.values else None
        if drawn is None or part.values["amps"].origin.layer == "default":
            continue
        speed = drawn_speed(part)
        mark = f"{_amps(drawn)}{f' {speed}' if speed else ''}"
        if found.amps > SAME * drawn:
            out.append(
                f"{found.part}: found {found.text}, the file says {mark}: {found.amps / drawn:.3g} times the current "
                f"passes before it opens. Fit {mark}, and ask why somebody fitted more."
            )
        elif found.amps < drawn / SAME:
            out.append(
                f"{found.part}: found {found.text}, the file says {mark}: it may open at switch-on with nothing wrong. "
                f"Fit {mark}."
            )
        elif found.speed and speed and found.speed != speed:
            why = "it lets a fault last longer" if found.speed == "slow" else "it may open at switch-on"
            out.append(f"{found.part}: found {found.text}, the file says {mark}: {why}. Fit {mark}.")
    return out


def drawn_speed(part: Part) -> Speed:
    """What the file says of a fuse's speed."""
    words = set(str(part.type or "").lower().split()) | {str(v).lower() for v in part.words.values()}
    return "slow" if words & set(_SLOW) else "quick" if words & set(_QUICK) else ""


def _amps(amps: float) -> str:
    return f"{amps:g}A" if amps >= 1.0 else f"{amps * 1e3:g}mA"


def _missing_parts(intake: Intake) -> list[str]:
    if not intake.missing:
        return []
    names = ", ".join(intake.missing)
    return [f"Missing as found: {names}. Fit or leave out by the drawing before rung 2, and say it in a changed layer."]
