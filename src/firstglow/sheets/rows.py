"""From a ladder's readings to the rows a person reads: twins side by side, figures as the meter shows them."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Any

from firstglow.readings.expected import up_to_stops
from firstglow.sheets.rounds import TOUCHED, rounds, rounds_text

SCALES = {"": 1.0, "m": 1e-3, "µ": 1e-6, "u": 1e-6, "k": 1e3, "M": 1e6, "G": 1e9, "n": 1e-9, "p": 1e-12}
UNITS = {"ohm": "Ω", "1": ""}
LARGEST_OHMS = 1e8
_WORDS = re.compile(r"[^\s()]+|[()]|\s+")
_OF_A_TYPE = re.compile(r"^type (\S+) (?:triode |pentode )?(\w+)$")
_TYPE_SAYS = {
    "perveance": "how strong a {} is", "mu": "how much a {} amplifies", "screen": "what the screen of a {} takes",
    "contact": "at which volts a {}'s grid begins to draw", "emission": "how much the cathode of a {} can give",
}  # fmt: skip
_UNFIT = re.compile(r"(UNFIT[^:]*): (\S.*?) is a (\d.*)")
_VOLTS_THERE = re.compile(
    r"(?<!one of )\b\d+ V\b(?! capacitor| is the next| or more)"
)  # what stands, not what is rated
SPARE = " (when time allows)"  # a reading that no gate needs


@dataclass(frozen=True, slots=True)
class Row:
    """One printed row, ``number`` counting from 1 on its rung.

    channels: which blanks it needs ("left", "right", or "" for one that belongs to neither).

    ids: the reading ids it stands for. pin: (base name, number) to ring, or None; black_pin: number of the pin of the same
    socket that black goes on. moved: the parts that move it most. chart: what charts say of it. instead: said before
    range, band and stop where this meter cannot judge it. Texts are ready to print.
    """

    number: int
    ids: tuple[str, ...]
    what: str
    red: str
    black: str
    contact: str
    range: str
    expect: str
    band: str
    stop: str
    channels: tuple[str, ...]
    pin: tuple[str, int] | None
    black_pin: int | None
    note: str
    differs: str
    moved: str
    chart: str = ""
    instead: str = ""


def probes(row: Row) -> list[str]:
    """Where black and red go; what needs no probe says so once."""
    return [row.red] if row.red == row.black else [f"black: {row.black}", f"red: {row.red}"]


def ids_text(row: Row) -> str:
    """The names that a readings file calls it by."""
    return " · ".join(row.ids)


def scaled(value: float, unit: str | None, scale: str, decimals: int, direction: int = 0) -> str:
    """A figure in the meter's own unit and decimals; direction -1 rounds down, +1 up, 0 to nearest."""
    step = 10.0**-decimals
    ratio = value / SCALES[scale] / step
    # a figure already on the step must stay where it is: a billionth of a step is rounding noise, not a value
    whole = floor(ratio + 1e-9) if direction < 0 else ceil(ratio - 1e-9) if direction > 0 else round(ratio)
    text = f"{whole * step:.{decimals}f}"
    if float(text) == 0:
        text = text.replace("-", "")
    return f"{text.replace('-', '−')} {scale}{UNITS.get(unit or '', unit or '')}".strip()


def shown_form(shown: str | None, value: float | None, unit: str | None) -> tuple[str, int]:
    """(scale letter, decimals) of the text a meter shows; guessed from the value where there is no such text."""
    if unit == "1":  # two readings in proportion: no meter shows it
        return "", 3
    match = re.fullmatch(r"[−-]?(\d+)(?:\.(\d+))?\s*([mµukMGnp]?)(?:V|A|Ω|ohm|W|F|Hz|s|°C|)", (shown or "").strip())
    if match:
        return match[3], len(match[2] or "")
    size = abs(value or 0.0)
    if unit == "ohm":
        scale = "M" if size >= 1e6 else "k" if size >= 1e3 else ""
    elif unit in {"V", "A"}:
        scale = "m" if 0 < size < 0.2 else ""
    else:
        scale = ""
    size = size / SCALES[scale]
    return scale, 0 if size >= 200 else 1 if size >= 20 else 2 if size >= 2 else 3


def expect_text(reading: Mapping[str, Any]) -> tuple[str, str]:
    """(the large figure, its band up to the stops) of one reading."""
    expected, low, high, unit = (reading.get(k) for k in ("expected", "low", "high", "unit"))
    if isinstance(expected, str):
        return expected.upper(), ""
    if expected is None:
        if low is None:
            return "LOOK", ""
        return "OPEN", f"over {scaled(low, unit, *shown_form(None, low, unit), direction=1)}"
    scale, decimals = shown_form(reading.get("shown"), expected, unit)
    figure = scaled(expected, unit, scale, decimals)
    if low is None or high is None:
        return figure, ""
    if unit == "ohm" and expected > LARGEST_OHMS:
        return "OPEN", f"over {scaled(low, unit, *shown_form(None, low, unit), direction=1)}"
    foot, head = up_to_stops(low, high, reading.get("stop_below"), reading.get("stop_above"))
    # outward, but a stop toward safe
    bottom = scaled(foot or 0.0, unit, scale, decimals, -1 if foot == low else 1)
    return figure, f"{bottom}  to  {scaled(head or 0.0, unit, scale, decimals, 1 if head == high else -1)}"


def limit_word(limit: float, *, below: bool) -> str:
    """Which way a limit is passed. On a negative rail half the people at a bench read "above" as "more volts"."""
    if limit < 0.0:
        return "beyond" if below else "nearer 0 than"
    return "below" if below else "above"


def stop_text(reading: Mapping[str, Any]) -> str:
    """When to switch off, rounded toward safe."""
    unit = reading.get("unit")
    below, above, expected = reading.get("stop_below"), reading.get("stop_above"), reading.get("expected")
    scale, decimals = shown_form(reading.get("shown"), expected if isinstance(expected, int | float) else None, unit)

    def figure(limit: float, direction: int) -> str:
        own, fewest = shown_form(None, limit, unit)
        # a limit far above what is expected is not told in the meter's smallest steps
        return scaled(
            limit, unit, *((scale, decimals) if own == scale and decimals <= fewest else (own, fewest)), direction
        )

    texts = []
    if below is not None and above is not None and abs(below + above) <= 1e-9 * abs(above):
        texts.append(f"beyond ±{figure(above, -1)}")
    else:
        for limit, is_low, direction in ((below, True, 1), (above, False, -1)):
            if limit is not None:
                texts.append(f"{limit_word(limit, below=is_low)} {figure(limit, direction)}")
    if reading.get("kind") == "lamp":
        texts = []
    words = str(reading.get("stop_words") or "")
    return "; ".join(t for t in (" or ".join(texts), words) if t)


def same_figures(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Do two twins print the same figures?"""
    return (expect_text(one), stop_text(one), one.get("range")) == (
        expect_text(other),
        stop_text(other),
        other.get("range"),
    )


def rows(rung: Mapping[str, Any], words: Mapping[str, str]) -> list[Row]:
    """The rung's readings as rows; a left reading and its right twin with the same figures share one row."""
    readings: Sequence[Mapping[str, Any]] = rung["readings"]
    by_id = {r["id"]: r for r in readings}
    done: set[str] = set()
    made: list[Row] = []
    turn = dict(zip(by_id, rounds(rung), strict=True)) if rounds_text(rung) else {}
    several = max(turn.values(), default=0) > 1
    for reading in readings:
        if reading["id"] in done:
            continue
        twin = by_id.get(reading.get("twin") or "")
        pair = [reading]
        if twin is not None and twin["id"] not in done and twin is not reading and same_figures(reading, twin):
            pair.append(twin)
        done.update(r["id"] for r in pair)
        own = sorted({turn[r["id"]] for r in pair}) if several and reading["contact"] in TOUCHED else []
        made.append(row(len(made) + 1, pair, words, own))
    return made


def together(texts: Sequence[str]) -> str:
    """One text for two twins: the words they share once, what differs side by side."""
    if len(set(texts)) == 1:
        return texts[0]
    split = [_WORDS.findall(t) for t in texts]  # a parenthesis is no part of the word in it
    if len({tuple(w if w in "()" or w.isspace() else "" for w in words) for words in split}) != 1:
        return " / ".join(texts)
    return "".join(words[0] if len(set(words)) == 1 else "/".join(words) for words in zip(*split, strict=True))


def row(number: int, pair: Sequence[Mapping[str, Any]], words: Mapping[str, str], turn: Sequence[int] = ()) -> Row:
    """One row for a reading, or for a reading and its twin; turn: the rounds it is read in, where that is told."""
    first = pair[0]
    told = f", round {' and '.join(map(str, turn))}" if turn else ""
    figure, band = expect_text(first)
    pin = first.get("pin")
    differs = first.get("situation") or {}
    red = together([r.get("red_at") or r["red"] for r in pair])
    black = together([r.get("black_at") or r["black"] for r in pair])
    return Row(
        number=number,
        ids=tuple(r["id"] for r in pair),
        what=together([r["what"] for r in pair])
        + ("" if first.get("needs", True) or first.get("note_only") else SPARE),
        red=red,
        black=black,
        contact=words.get(first["contact"], first["contact"]) + told,
        range=range_text(first),
        expect=figure,
        band=band,
        stop=stop_text(first),
        channels=tuple(r.get("channel") or "" for r in pair),
        pin=(pin["base"], int(pin["number"])) if pin else None,
        black_pin=_black_pin(red, black) if pin else None,
        note=note_text(first),
        differs=str(differs.get("text", "")) if isinstance(differs, Mapping) else "",
        moved=moved_text(pair),
        chart=chart_text(pair),
        instead=instead_text(first),
    )


def range_text(reading: Mapping[str, Any]) -> str:
    """The range to choose, and whether ac or dc: "600 V ac", "start at 500 V dc, step down to 10 V"."""
    text = str(reading.get("how") or reading.get("range") or "")
    current = {"dc volts": " dc", "ac volts": " ac", "dc amps": " dc", "ac amps": " ac"}.get(
        str(reading.get("kind")), ""
    )
    head, comma, rest = text.partition(",")
    return f"{head}{current}{comma}{rest}" if text else ""


def _black_pin(red: str, black: str) -> int | None:
    """The pin that black goes on, where it is one of the same socket as red's."""
    ends = [re.match(r"(\S+) pin (\d+) ", text) for text in (red, black)]
    return int(ends[1][2]) if ends[0] and ends[1] and ends[0][1] == ends[1][1] else None


def note_text(reading: Mapping[str, Any]) -> str:
    """What the row adds: that it gets no verdict, that healthy amplifiers may read past its stop limit, and its remark."""
    return " ".join(t for t in (_judged_text(reading), str(reading.get("remark") or "")) if t)


def _judged_text(reading: Mapping[str, Any]) -> str:
    note = reading.get("note_only")
    if note:
        return str(note) if note is not True else "no verdict from this one: note it"
    separate = reading.get("separate") or []
    if reading.get("band_cut") and not reading.get("hidden"):
        return f"A healthy one may read past the stop. Stop all the same; first {separate[0]}" if separate else ""
    return ""


def instead_text(reading: Mapping[str, Any]) -> str:
    """What to do first where this meter cannot tell what must be told: ``READ IT WITH A DIGITAL METER: ...``."""
    hidden = str(reading.get("hidden") or "")
    if not hidden:
        return ""
    why, found, _ = hidden.partition("; read it with a digital meter")
    return f"{'READ IT WITH A DIGITAL METER' if found else 'NOT WITH THIS METER'}: {why}"


def chart_text(pair: Sequence[Mapping[str, Any]]) -> str:
    """What charts say of a row, each once, by title and source; "" for none."""
    return "; ".join(dict.fromkeys(str(chart["text"]) for r in pair for chart in r.get("charts") or []))


def moved_by_text(name: str) -> str:
    """What moves a reading, in bench words: a part by its name, what its type's data leave open as what that is of it."""
    found = _OF_A_TYPE.fullmatch(name)
    if found is None:
        return name
    return _TYPE_SAYS.get(found[2], "the {}'s own data").format(found[1])


def moved_text(pair: Sequence[Mapping[str, Any]]) -> str:
    """What moves a reading most, two names; "" where nothing does."""
    names = []
    for item in (pair[0].get("moved_by") or [])[:2]:
        name = str(item["part"]).removeprefix("left ").removeprefix("right ")
        names.append(_OF_A_TYPE.sub(r"the \1's own data", name).replace("mains volts", "the mains"))
    return "moved most by " + " and ".join(dict.fromkeys(names)) if names else ""


def findings_text(findings: Sequence[str]) -> list[str]:
    """Findings, those that say the same of several readings or capacitors as one: ``V1, V2 heater, loaded: ...``."""
    shared: dict[str, list[str]] = {}
    for finding in _of_several(findings):
        who, _, text = finding.partition(": ")
        shared.setdefault(text or who, []).append(who if text else "")
    return [f"{'; '.join(who)}: {text}" if any(who) else text for text, who in shared.items()]


def _of_several(findings: Sequence[str]) -> list[str]:
    """Capacitors of one rating to which the same happens, with the same to do, as one finding: the most volts of them."""
    same: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for finding in findings:
        found = _UNFIT.fullmatch(finding)
        head, part, text = found.groups() if found else ("", "", finding)
        same.setdefault((head, _VOLTS_THERE.sub("V", text) if found else text), []).append((part, text))
    lines = []
    for (head, _), members in same.items():
        most = max((text for _, text in members), key=lambda t: [int(n) for n in re.findall(r"\d+", t)])
        parts = ", ".join(part for part, _ in members)
        lines.append(f"{head}: {parts}{': each is a' if len(members) > 1 else ' is a'} {most}" if head else most)
    return lines
