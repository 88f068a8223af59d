"""What was answered at the bench, as data: a flat table of texts, and what they say in SI.

Keys are those of the readings file with its table in front: ``mains``, ``leads``, ``ohms 1 2``, ``core 1``,
``insulation 1``, ``excite amps``, ``ac 1 2``, ``primary``, ``phase 2 3``, ``size limb``, ``noload 30``,
``hour warm``.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isfinite

from firstglow.readings.meters import ReadingsError
from firstglow.readings.typed import typed_number

Pair = tuple[str, str]
NONE = "none"  # answer of somebody who did not, or cannot, take an optional reading
MOST_LEADS = 40
LEAD = re.compile(r"[A-Za-z0-9][A-Za-z0-9_/.]{0,19}")
# A hand meter as most benches have it (common practice): ohms 0.8 % and 3 counts, ac volts 1 % and 3 counts.
OHMS_FRACTION, AC_FRACTION, AMPS_FRACTION, COUNTS = 0.008, 0.010, 0.015, 3.0
PREFIX = {"": 1.0, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9, "m": 1e-3, "u": 1e-6, "µ": 1e-6}
_TABLES = {
    "ohms": ("ohm", 2), "core": ("ohm", 1), "insulation": ("ohm", 1), "ac": ("V", 2), "phase": ("V", 2),
    "noload": ("A", 1), "hour": ("", 1), "size": ("", 1), "excite": ("A", 1), "colours": ("", 1),
}  # fmt: skip
_SINGLE = ("format", "name", "mains", "leads", "lead_ohms", "primary", "capped")
_WORDS = {
    "noload": ("lamp", "30", "65", "100"), "hour": ("cold", "warm", "room_before", "room_after"),
    "size": ("limb", "stack"), "excite": ("amps",),
}  # fmt: skip


class WindingsError(Exception):
    """Answers that cannot be as they are: ``key: found; allowed; try``. again: keys to be answered once more."""

    def __init__(self, key: str, found: str, allowed: str, remedy: str, again: tuple[str, ...] = ()) -> None:
        super().__init__(f"{key}: {found}; {allowed}; try {remedy}")
        self.key, self.again = key, again or (key,)


@dataclass(frozen=True, slots=True)
class Read:
    """One reading. value: SI (inf for OL). error: the most that it can be wrong by [SI], meter and last digit."""

    value: float
    error: float

    @property
    def open(self) -> bool:
        """Whether the meter showed overload."""
        return not isfinite(self.value)


@dataclass(frozen=True, slots=True)
class Facts:
    """Everything answered so far; what is None or missing was not asked yet, ``none`` holds keys declined.

    volts [V rms] and hertz of the mains; ohms between leads with the meter's leads taken off; core: ohms from a lead to
    the core; insulation: ohms at 500 V dc from a lead to all that is not joined to it; ac: volts with the excitation on;
    excite_amps: what it draws; primary: as confirmed, text; phase: volts across two windings joined at that pair;
    limb, stack [m]; noload: percent of the mains to amps; lamp: word; hour: ohms and degC.
    """

    name: str
    volts: float | None
    hertz: float
    leads: tuple[str, ...]
    colours: Mapping[str, str]
    ohms: Mapping[Pair, Read]
    core: Mapping[str, Read]
    insulation: Mapping[str, Read]
    excite_amps: Read | None
    ac: Mapping[Pair, Read]
    primary: str | None
    phase: Mapping[Pair, Read]
    size: Mapping[str, float]
    noload: Mapping[str, Read]
    lamp: str | None
    hour: Mapping[str, float]
    answered: frozenset[str]
    none: frozenset[str]


def pair_of(text: str, leads: tuple[str, ...], key: str) -> Pair:
    """Two leads from "1 2" or "1-2", in the order of the bundle."""
    found = text.replace("-", " ").split()
    if len(found) != 2 or found[0] == found[1]:
        raise WindingsError(key, f'"{text}" is no pair of leads', "two different leads", f'"{leads[0]} {leads[-1]}"')
    for lead in found:
        known(lead, leads, key)
    first, second = sorted(found, key=leads.index)
    return first, second


def known(lead: str, leads: tuple[str, ...], key: str) -> str:
    """The lead, if it is one of the bundle's."""
    if lead not in leads:
        from difflib import get_close_matches

        near = get_close_matches(lead, leads, 1, 0.0)
        raise WindingsError(key, f'no lead "{lead}"', f"leads: {', '.join(leads)}", f'"{near[0]}"')
    return lead


def read(text: str, unit: str, key: str) -> Read:
    """A reading with the most that meter and last digit can be wrong by."""
    try:
        value = typed_number(text, unit, key)
    except ReadingsError as error:
        found, allowed, remedy = [*str(error).removeprefix(f"{key}: ").split("; "), "", ""][:3]
        raise WindingsError(key, found, allowed, remedy.removeprefix("try ")) from None
    if value < 0:
        raise WindingsError(key, f'"{text}" is below nothing', f"{unit} of 0 or more", f'"{text.strip().lstrip("-")}"')
    fraction = {"ohm": OHMS_FRACTION, "V": AC_FRACTION, "A": AMPS_FRACTION}[unit]
    return Read(value, value * fraction + COUNTS * _step(text) if value != inf else inf)


def _step(text: str) -> float:
    """The last digit's weight [SI], as the figure was typed: "14.2" 0.1, "312m" 0.001, "1k25" 10."""
    plain = text.strip().replace(",", ".")
    code = re.fullmatch(r"\d+([kKMmRGV])(\d+).*", plain)
    if code:
        return float(PREFIX.get(code[1], 1.0) * 10.0 ** -len(code[2]))
    found = re.match(r"\d*(?:\.(\d*))?\s*([kKMGmuµ]?)", plain)
    decimals, prefix = (len(found[1] or ""), found[2]) if found else (0, "")
    return float(PREFIX[prefix] * 10.0**-decimals)


def facts_of(answers: Mapping[str, str]) -> Facts:
    """Read every answer; WindingsError names the key of the first that cannot be one."""
    for key in answers:
        table, _, rest = key.partition(" ")
        if key not in _SINGLE and (table not in _TABLES or not rest):
            raise WindingsError(
                key, "unknown key", f"{', '.join(_SINGLE)} and tables {', '.join(_TABLES)}", "leaving it out"
            )
    leads = _leads(answers)
    none = frozenset(k for k, v in answers.items() if v.strip().lower() in {NONE, "skip"})
    taken = {k: v for k, v in answers.items() if k not in none}
    volts, hertz = _mains(taken.get("mains"))
    own = read(taken["lead_ohms"], "ohm", "lead_ohms") if "lead_ohms" in taken else Read(0.0, 0.0)
    if own.value > 5:
        raise WindingsError(
            "lead_ohms", f"meter leads of {own.value:g} ohm", "tips held together, under 5 ohm", '"0.2"'
        )
    return Facts(
        name=answers.get("name", "T1"), volts=volts, hertz=hertz, leads=leads,
        colours={k.split(" ", 1)[1]: v for k, v in taken.items() if k.startswith("colours ")},
        ohms=_less(_pairs("ohms", taken, leads), own), core=_singles("core", taken, leads),
        insulation=_singles("insulation", taken, leads),
        excite_amps=read(taken["excite amps"], "A", "excite amps") if "excite amps" in taken else None,
        ac=_pairs("ac", taken, leads), primary=taken.get("primary"), phase=_pairs("phase", taken, leads),
        size=_plain("size", taken, 1e-3), noload=_noload(taken), lamp=_lamp(taken.get("noload lamp")),
        hour=_plain("hour", taken, 1.0), answered=frozenset(answers), none=none,
    )  # fmt: skip


def _leads(answers: Mapping[str, str]) -> tuple[str, ...]:
    leads = tuple(answers.get("leads", "").replace(",", " ").split())
    for lead in leads:
        if not LEAD.fullmatch(lead) or lead in {"core", "none"}:
            raise WindingsError("leads", f'"{lead}" is no name', "letters and figures, no blank", '"1 2 3 4"')
        if leads.count(lead) > 1:
            raise WindingsError("leads", f'"{lead}" stands twice', "a name of its own each", f'"{lead}1 {lead}2"')
    if "leads" in answers and not 2 <= len(leads) <= MOST_LEADS:
        raise WindingsError("leads", f"{len(leads)} leads", f"2 to {MOST_LEADS}", '"1 2 3 4"')
    return leads


def _mains(text: str | None) -> tuple[float | None, float]:
    if text is None:
        return None, 50.0
    found = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*V?(?:\s+(50|60)\s*Hz)?\s*", text, re.IGNORECASE)
    if not found or not 90 <= float(found[1]) <= 260:
        raise WindingsError("mains", f'"{text}"', "volts of your mains, 90 to 260, and 50 or 60 Hz", '"230V 50Hz"')
    volts = float(found[1])
    return volts, float(found[2]) if found[2] else (60.0 if volts < 150 else 50.0)


def _pairs(table: str, answers: Mapping[str, str], leads: tuple[str, ...]) -> dict[Pair, Read]:
    out: dict[Pair, Read] = {}
    for key, text in answers.items():
        if key.startswith(f"{table} "):
            pair = pair_of(key.split(" ", 1)[1], leads, key)
            if pair in out:
                raise WindingsError(key, "read twice", "one reading a pair", "leaving one out")
            out[pair] = read(text, _TABLES[table][0], key)
    return out


def _singles(table: str, answers: Mapping[str, str], leads: tuple[str, ...]) -> dict[str, Read]:
    rows = {k: v for k, v in answers.items() if k.startswith(f"{table} ")}
    return {known(k.split(" ", 1)[1], leads, k): read(v, _TABLES[table][0], k) for k, v in rows.items()}


def _less(reads: Mapping[Pair, Read], own: Read) -> dict[Pair, Read]:
    """The meter's own leads taken off every reading that is one."""
    return {p: r if r.open else Read(max(r.value - own.value, 0.0), r.error + own.error / 3) for p, r in reads.items()}


def _plain(table: str, answers: Mapping[str, str], scale: float) -> dict[str, float]:
    out = {}
    for key, text in answers.items():
        if not key.startswith(f"{table} "):
            continue
        word = _word(key)
        body = re.sub(r"\s*(mm|°C|C|R|ohm|Ω)$", "", text.strip())
        try:
            value = float(body.replace(",", "."))
        except ValueError:
            value = inf
        least, most = (5.0, 200.0) if table == "size" else (-20.0, 60.0) if word.startswith("room") else (0.01, 1e4)
        if not least <= value <= most:
            raise WindingsError(
                key, f'"{text}"', f"{least:g} to {most:g}, mm for a size, ohms or degC", f'"{least + 20:g}"'
            )
        out[word] = value * scale
    return out


def _word(key: str) -> str:
    table, word = key.split(" ", 1)
    if word not in _WORDS[table]:
        raise WindingsError(key, "unknown key", f"{table}: {', '.join(_WORDS[table])}", f'"{_WORDS[table][0]}"')
    return word


def _noload(answers: Mapping[str, str]) -> dict[str, Read]:
    rows = {k: v for k, v in answers.items() if k.startswith("noload ")}
    return {_word(k): read(v, "A", k) for k, v in rows.items() if _word(k) != "lamp"}


def _lamp(text: str | None) -> str | None:
    if text is not None and text not in {"dark", "dim", "half", "full"}:
        raise WindingsError("noload lamp", f'"{text}"', "dark, dim, half or full", '"dark"')
    return text
