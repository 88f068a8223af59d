"""Reads a part's attributes that are text or yes/no: link, heater, idle, taps and the choices."""

from collections.abc import Mapping
from typing import Any

from firstglow.amplifier.attributes import kinds
from firstglow.amplifier.drafts import Draft, Place, lead_of
from firstglow.amplifier.lines import Path
from firstglow.amplifier.mistakes import Mistakes, nearest, short
from firstglow.amplifier.model import Origin, Quantity
from firstglow.quantities import QuantityError, read_spread, read_value

_CHOICES: Mapping[str, tuple[str, ...]] = {
    "in_phase": ("a", "b"),
    "role": ("mains", "standby"),
    "heater_connection": ("parallel", "series"),
    "build": ("EI", "toroid"),
    "section": ("1", "2", "triode", "pentode"),
}


def read_word(mistakes: Mistakes, layer: str, draft: Draft, key: str, value: Any, at: Path) -> None:
    """Read one attribute that is text or yes/no."""
    if key == "link":
        _link(mistakes, layer, draft, value, at)
    elif key == "heater":
        _heater(mistakes, layer, draft, value, at)
    elif key == "idle":
        _idle(mistakes, layer, draft, value, at)
    elif key == "taps":
        _taps(mistakes, layer, draft, value, at)
    elif key in {"test", "single_ended"}:
        if isinstance(value, bool):
            draft.words[key] = value
        else:
            mistakes.add(at, draft.name, f"{key} = {short(value)}", "true or false", f"{key} = true")
    elif not isinstance(value, str) or len(value) > 200:
        mistakes.add(at, draft.name, f"{key} = {short(value)}", "a text", f'{key} = "..."')
    elif key in _CHOICES and value not in _CHOICES[key]:
        mistakes.add(
            at,
            draft.name,
            f"{key} = {value!r}",
            " or ".join(_CHOICES[key]),
            f'{key} = "{nearest(value, _CHOICES[key]) or _CHOICES[key][0]}"',
        )
    else:
        draft.words[key] = value


def _link(mistakes: Mistakes, layer: str, draft: Draft, value: Any, at: Path) -> None:
    leads = kinds()[draft.kind].leads
    if isinstance(value, str) and 0 < len(value) <= 40:
        tie = "chassis" if "feedback" in value.lower() else None
        draft.link = (value, leads[0], tie)
        draft.words["link"] = value
        return
    if isinstance(value, dict) and isinstance(value.get("name"), str) and set(value) <= {"name", "lead", "tie"}:
        lead = lead_of(draft, str(value.get("lead", leads[0])))
        tie = value.get("tie", "chassis" if "feedback" in value["name"].lower() else None)
        if lead is not None and (tie is None or isinstance(tie, str)):
            draft.link = (value["name"], lead, tie)
            draft.link_said = frozenset(value) & {"lead", "tie"}
            draft.words["link"] = value["name"]
            return
    mistakes.add(
        at,
        draft.name,
        f"link = {short(value)}",
        "a name, or { name, lead, tie }",
        f'link = {{ name = "feedback", lead = "{leads[0]}", tie = "chassis" }}',
    )


def _heater(mistakes: Mistakes, layer: str, draft: Draft, value: Any, at: Path) -> None:
    texts = [value] if isinstance(value, str) else value
    if isinstance(texts, list) and 0 < len(texts) <= 3 and all(isinstance(t, str) for t in texts):
        draft.heater = [Place(t, draft.channel, mistakes.line(at)) for t in texts]
        return
    mistakes.add(
        at,
        draft.name,
        f"heater = {short(value)}",
        "a winding, or a list of two or three joints",
        'heater = "T1 heat"',
    )


def _idle(mistakes: Mistakes, layer: str, draft: Draft, value: Any, at: Path) -> None:
    words = str(value).split()
    try:
        amps = read_value(words[0], "A") if isinstance(value, str) and words else 0.0
        spread = read_spread(words[1], "A") if len(words) == 2 else None
    except QuantityError as error:
        mistakes.add(at, draft.name, f"idle: {error.found}", error.allowed, error.remedy)
        return
    if not 1e-4 <= amps <= 1.0 or len(words) > 2:
        mistakes.add(at, draft.name, f"idle = {short(value)}", "cathode current, 0.1 mA to 1 A", 'idle = "25m"')
        return
    fraction = spread.fraction if spread is not None and spread.fraction is not None else 0.03
    draft.idle = (Quantity(amps, fraction, "uniform", Origin(layer, mistakes.line(at))), None)


def _taps(mistakes: Mistakes, layer: str, draft: Draft, value: Any, at: Path) -> None:
    try:
        text = str(value).removesuffix("R").removesuffix("Ω").strip() if isinstance(value, str) else ""
        ohms = [read_value(t if not t.replace(".", "").isdigit() else t + "R", "ohm") for t in text.split("+")]
    except QuantityError as error:
        mistakes.add(at, draft.name, f"taps: {error.found}", error.allowed, '"4+8+16R"')
        return
    if len(set(ohms)) != len(ohms) or not all(0.5 <= o <= 2000 for o in ohms) or len(ohms) > 8:
        mistakes.add(at, draft.name, f"taps = {short(value)}", "different ohms, 0.5 to 2000", 'taps = "4+8+16R"')
        return
    draft.words["taps"] = "+".join(f"{o:g}" for o in sorted(ohms))
