"""A Situation and faults from the command line's words, one spelling everywhere (docs/file.md)."""

import re
from collections.abc import Iterable, Sequence
from shlex import quote

from firstglow.amplifier.faults import FAULTS, Mode, cases_of
from firstglow.amplifier.mains_mark import MOST_SOLVED, over_mark
from firstglow.amplifier.mistakes import nearest, nearest_part
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault, Feedback, LoadState, Situation
from firstglow.quantities import QuantityError, code, read_value


class SituationError(Exception):
    """An option that does not fit this amplifier; the message is ``OPTION: found; allowed; try``."""

    def __init__(self, option: str, found: str, allowed: str, remedy: str) -> None:
        super().__init__(f"{option}: {found}; {allowed}; try {remedy}")
        self.found, self.allowed, self.remedy = found, allowed, remedy


def find_parts(amplifier: Amplifier, word: str) -> tuple[str, ...]:
    """Parts that a word means: a canonical name or alias (one), else the name it has in each channel's own table."""
    name = " ".join(word.split())
    if name in amplifier.parts:
        return (name,)
    if amplifier.aliases.get(name) in amplifier.parts and not _is_gang(amplifier, name):
        return (amplifier.aliases[name],)
    return tuple(p.name for p in amplifier.parts.values() if name in _called(p))


def parts_called(amplifier: Amplifier, word: str, option: str = "PART") -> tuple[str, ...]:
    """All that a word means: as ``find_parts``, and of a glass or a can every part in it. SituationError with the nearest for a
    word that means none: one wording for every command. option: where it was typed."""
    name = " ".join(word.split())
    found = find_parts(amplifier, name) or tuple(p.name for p in amplifier.parts.values() if p.envelope == name)
    if not found:
        near = nearest_part(name, amplifier.parts) or next(iter(amplifier.parts), "")
        raise SituationError(option, f"{name!r} is no part here", "a part of the file by its name", quote(near))
    return found


def _called(part: Part) -> set[str]:
    """Other words for a part: its name in its channel's table, and the spindle or can it shares."""
    out = set()
    if part.channel:
        out |= {
            n.removeprefix(f"{part.channel} ") for n in (part.name, *part.aliases) if n.startswith(f"{part.channel} ")
        }
    for shared in (part.words.get("gang"), part.words.get("can")):
        if isinstance(shared, str):
            out |= {shared, f"{part.channel} {shared}"} if part.channel else {shared}
    return out


def _is_gang(amplifier: Amplifier, name: str) -> bool:
    return any(p.words.get("gang") == name for p in amplifier.parts.values())


def _known(amplifier: Amplifier, *only: str) -> list[str]:
    return [p.name for p in amplifier.parts.values() if not only or p.kind in only]


def situation_from_options(
    amplifier: Amplifier,
    mains_now: str | float | None = None,
    out: Iterable[str] = (),
    lift: Iterable[str] = (),
    pot: Iterable[str] = (),
    fault: Iterable[str] = (),
    meter: str | None = None,
    load: LoadState = "dummy",
    lamp: str | float | None = None,
    feedback: Feedback = "closed",
    test_ohms: str | float | None = None,
    switch_open: Iterable[str] = (),
    stimulus: str | float | None = None,
) -> tuple[Situation, tuple[Fault, ...]]:
    """The Situation and the faults that the options say; each option as typed behind its name.

    mains_now: "118" or "118V"; None the file's. out: "V3,V4". lift: "feedback". pot: "P1=0" or "P1=30%".
    fault: "R7:open", "C5:leaks=500k". lamp: watts of the limiter lamp. stimulus: volts rms at the input(s).

    Raises SituationError.
    """
    volts = amplifier.mains_volts if mains_now is None else _number("--mains-now", mains_now, "V", "118")
    if not 0 <= volts <= MOST_SOLVED * amplifier.mains_volts:
        raise SituationError(
            "--mains-now",
            over_mark(amplifier, volts) if volts > 0 else f"{volts:g} V",
            f"0 to {MOST_SOLVED * amplifier.mains_volts:.0f} V",
            f"--mains-now {amplifier.mains_volts:g}, or a file whose tap is marked for {abs(volts):g} V",
        )
    watts = None if lamp is None else _number("--lamp", lamp, "W", "60")
    if watts is not None and not 1 <= watts <= 2000:
        raise SituationError("--lamp", f"{watts:g} W", "1 to 2000 W", "--lamp 60")
    if feedback == "test" and test_ohms is None:
        raise SituationError(
            "--feedback", "test without ohms", "what stands in the loop", "--feedback test --test-ohms 100k"
        )
    situation = Situation(
        mains_volts=volts,
        out=frozenset(_envelopes(amplifier, out)),
        lifted=frozenset(_links(amplifier, lift)),
        pots=dict(_pots(amplifier, pot)),
        load=load,
        lamp_watts=watts,
        switches_open=frozenset(_switches(amplifier, switch_open)),
        feedback=feedback,
        test_ohms=None if test_ohms is None else _number("--test-ohms", test_ohms, "ohm", "100k"),
        stimulus_volts=0.0 if stimulus is None else _number("--stimulus", stimulus, "V", "0.1"),
        meter=meter or "digital",
    )
    return situation, tuple(read_fault(amplifier, text) for text in fault)


def _number(option: str, value: str | float, unit: str, example: str) -> float:
    if isinstance(value, int | float):
        return float(value)
    try:
        return read_value(value, unit)
    except QuantityError as error:
        raise SituationError(option, error.found, error.allowed, f"{option} {example}") from None


def _words(texts: Iterable[str]) -> list[str]:
    return [w.strip() for text in texts for w in text.split(",") if w.strip()]


def _envelopes(amplifier: Amplifier, out: Iterable[str]) -> list[str]:
    glass: set[str] = {p.envelope for p in amplifier.parts.values() if p.envelope}
    found: list[str] = []
    for word in _words(out):
        named: set[str | None] = {g for g in glass if g == word}
        if not named:
            named = {amplifier.parts[n].envelope for n in find_parts(amplifier, word)}
        if not named:  # a glass of several sections, as a channel calls it
            parts = [p for p in amplifier.parts.values() if p.envelope and p.name != p.envelope]
            named = {p.envelope for p in parts if word in {called[:-1] for called in _called(p)}}
        envelopes = [e for e in sorted(named, key=str) if e is not None]
        if not envelopes:
            raise SituationError(
                "--out",
                f"{word!r} is no valve here",
                "valves: " + ", ".join(sorted(glass)),
                f"--out {nearest(word, sorted(glass)) or next(iter(sorted(glass)), 'V1')}",
            )
        found += envelopes
    return found


def _links(amplifier: Amplifier, lift: Iterable[str]) -> list[str]:
    found: list[str] = []
    for word in _words(lift):
        named = [x.name for x in amplifier.links.values() if word in {x.name, x.name.removeprefix(f"{x.channel} ")}]
        if not named:
            known = ", ".join(amplifier.links) or "none: this amplifier has no link"
            raise SituationError(
                "--lift",
                f"{word!r} is no link here",
                f"links: {known}",
                f"--lift {nearest(word, amplifier.links) or next(iter(amplifier.links), 'feedback')!r}",
            )
        found += named
    return found


def _switches(amplifier: Amplifier, words: Iterable[str]) -> list[str]:
    found: list[str] = []
    switches = _known(amplifier, "switch")
    for word in _words(words):
        named = [n for n in find_parts(amplifier, word) if n in switches] or [
            n for n in switches if amplifier.parts[n].words.get("role") == word
        ]
        if not named:
            raise SituationError(
                "--open",
                f"{word!r} is no switch here",
                "switches: " + (", ".join(switches) or "none"),
                f"--open {next(iter(switches))!r}" if switches else "it without --open",
            )
        found += named
    return found


def _pots(amplifier: Amplifier, texts: Iterable[str]) -> list[tuple[str, float]]:
    found: list[tuple[str, float]] = []
    pots = _known(amplifier, "pot")
    for text in _words(texts):
        word, equals, value = text.partition("=")
        named = [n for n in find_parts(amplifier, word) if n in pots]
        if not named or not equals:
            raise SituationError(
                "--pot",
                f"{text!r}",
                "a pot and where it stands, 0 to 1: " + (", ".join(pots) or "no pot here"),
                f'--pot "{nearest(word, pots) or next(iter(pots), "P1")}=0.5"',
            )
        position = _number("--pot", value, "1", f'"{named[0]}=0.5"')
        if not 0 <= position <= 1:
            raise SituationError(
                "--pot", f"{word} at {value}", "0 (wiper at end 1) to 1 (wiper at end 2)", f'--pot "{named[0]}=0.5"'
            )
        found += [(n, position) for n in named]
    return found


def read_fault(amplifier: Amplifier, text: str) -> Fault:
    """``PART:MODE`` or ``PART:MODE=VALUE``; raises SituationError with what this part can have."""
    part_word, colon, rest = text.partition(":")
    named = find_parts(amplifier, part_word)
    if not colon or not named:
        near = _at_lead(amplifier, part_word) or nearest_part(part_word, amplifier.parts) or next(iter(amplifier.parts))
        raise SituationError(
            "--fault",
            f"{text!r}: no part {part_word.strip()!r}" if colon else f"{text!r} has no mode",
            "PART:MODE or PART:MODE=VALUE",
            f'--fault "{near}:{_mode_of(amplifier, near, rest)}"',
        )
    if len(named) > 1:
        raise SituationError(
            "--fault", f"{part_word} is more than one part", " or ".join(named), f'--fault "{named[0]}:{rest}"'
        )
    part = amplifier.parts[named[0]]
    mode_word, equals, value = rest.partition("=")
    mode_word = " ".join(mode_word.split())
    cases = list(cases_of(part, amplifier.mains_volts))
    if mode_word == "wrong type":
        return _wrong_type(part, value.strip(), [c.mode for c in cases])
    modes = [m for m in FAULTS[part.kind] if m.when(part) and (m.name == mode_word or mode_word in _expanded(m, part))]
    if not modes:
        known = list(dict.fromkeys(c.mode for c in cases))
        raise SituationError(
            "--fault",
            f"{part.name} has no mode {mode_word!r}",
            "modes: " + (", ".join(known) or "none"),
            f'--fault "{part.name}:{nearest(mode_word, known) or next(iter(known), "open")}"',
        )
    mode = modes[0]
    if mode.unit is None:
        if equals:
            raise SituationError(
                "--fault",
                f"{mode_word} takes no value",
                f"{part.name}:{mode_word}",
                f'--fault "{part.name}:{mode_word}"',
            )
        return Fault(part.name, mode_word)
    scale = amplifier.mains_volts if mode.unit == "V" else 1.0
    if not equals:
        assert mode.middle is not None
        return Fault(part.name, mode_word, mode.middle * scale)
    example = f'"{part.name}:{mode_word}={code(float(f"{(mode.middle or 1.0) * scale:.1g}"), mode.unit)}"'
    number = _number("--fault", value, mode.unit, example)
    if not 0 < number <= 1e15:
        raise SituationError("--fault", f"{mode_word}={value}", "more than 0", f"--fault {example}")
    return Fault(part.name, mode_word, number)


def _mode_of(amplifier: Amplifier, name: str, asked: str) -> str:
    """A mode that this part has: the one asked for, else the nearest to it."""
    modes = list(dict.fromkeys(c.mode for c in cases_of(amplifier.parts[name], amplifier.mains_volts)))
    wanted = asked.partition("=")[0].strip()
    return next((m for m in (wanted, nearest(wanted, modes), *modes) if m in modes), "open")


def _at_lead(amplifier: Amplifier, text: str) -> str | None:
    """The resistor or capacitor that "V2 cathode R" asks for and that has a name of its own: R10 on V2's cathode."""
    words = text.split()
    kind = {"R": "resistor", "C": "capacitor"}.get(words[-1] if words else "")
    terminal = " ".join(words[:-1])
    joint = amplifier.aliases.get(terminal, terminal)
    if kind is None or joint not in amplifier.joints or joint == "chassis":
        return None
    return next((p.name for p in amplifier.of_kind(kind) if joint in p.leads.values()), None)


def _expanded(mode: Mode, part: Part) -> set[str]:
    return {mode.name.format(winding=w.name) for w in part.windings} if "{winding}" in mode.name else set()


def _wrong_type(part: Part, value: str, known: Sequence[str]) -> Fault:
    fitting = [m for m in known if m.startswith("wrong type=")]
    chosen = next((m for m in fitting if m.partition("=")[2].upper() == value.upper()), None)
    if chosen is None:
        types = ", ".join(m.partition("=")[2] for m in fitting) or f"no other type fits {part.name}"
        raise SituationError(
            "--fault",
            f"{value or 'no type'!r} for {part.name}",
            f"types that fit its socket: {types}",
            f'--fault "{part.name}:{next(iter(fitting), "open")}"',
        )
    return Fault(part.name, chosen)


def fault_text(amplifier: Amplifier, fault: Fault) -> str:
    """The fault as ``--fault`` takes it: ``C5:leaks=500k``."""
    if fault.value is None:
        return f"{fault.part}:{fault.mode}"
    part = amplifier.parts[fault.part]
    unit = next((m.unit for m in FAULTS[part.kind] if m.name == fault.mode and m.unit), "1")
    return f"{fault.part}:{fault.mode}={re.sub(r'R$', '', code(fault.value, unit))}"
