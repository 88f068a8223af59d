"""Where a climb stands: what its records say, and nothing else. A pure fold, one record after another."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from firstglow.ladder.states import VERDICTS, State, StateError, follow
from firstglow.records.record import Record

UNPROVED = "what the records say does not follow from one to the next: taken as live until made safe"


@dataclass(frozen=True, slots=True)
class Safing:
    """How far making safe has come since the last switch-off.

    off: when the plug was out, "" before that. source: what the known source showed before [V], None before.
    fell: capacitor -> its volts before the discharge resistor; slow: how often that was too slow.
    discharged, again: capacitor -> the record of its volts.
    """

    off: str = ""
    source: float | None = None
    fell: Mapping[str, Record] = field(default_factory=dict)
    slow: int = 0
    discharged: Mapping[str, Record] = field(default_factory=dict)
    again: Mapping[str, Record] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Here:
    """Where the climb stands.

    stage: id of the stage that is set up or was last; "" before the first. since: when it was set up or powered.
    taken: reading id -> the record that counts. tried: the last answer to the reading that is asked now, where it does
    not count. skipped: readings left out. passed: rungs, in the order they passed. signed: rung -> name.
    mains_share: mains as last read over the mains wanted there [1], None where nobody read them. meter: name, None for
    the ladder's own. findings: what the last making safe found, until the next set-up under power. why_off: why it was switched off.
    counted: the count of clips that the hold point before it is signed on; any other step but that signature undoes it.
    pulled: when the plug came out for the reading that begins with it, "" where it did not. leaned: parts that all readings
    together lean like, as told so far, since anything was changed last.
    """

    state: State = "open"
    powered: bool = False
    stage: str = ""
    since: str = ""
    taken: Mapping[str, Record] = field(default_factory=dict)
    tried: Record | None = None
    skipped: frozenset[str] = frozenset()
    passed: tuple[str, ...] = ()
    signed: Mapping[str, str] = field(default_factory=dict)
    repeat: Mapping[str, str] = field(default_factory=dict)
    mains_share: float | None = None
    meter: str | None = None
    safing: Safing = field(default_factory=Safing)
    findings: tuple[str, ...] = ()
    why_off: str = ""
    digest: str = ""
    counted: Record | None = None
    pulled: str = ""
    leaned: frozenset[str] = frozenset()


def here(records: Iterable[Record]) -> Here:
    """Where these records lead. One that may not follow those before it (a line between them is void) counts for
    nothing, and the amplifier is taken as live from there until it is made safe."""
    place = Here()
    for record in records:
        try:
            place = after(place, record)
        except StateError:
            place = replace(place, state="switched off", powered=True, safing=Safing(), why_off=UNPROVED, tried=None)
    return place


def after(place: Here, record: Record) -> Here:
    """Where one more record leads; StateError where it may not follow."""
    event = record.event
    state = follow(place.state, event, place.powered)
    place = replace(place, state=state, counted=place.counted if event in _KEEPS_COUNT else None)
    if event in VERDICTS:
        return _read(place, record)
    change = _CHANGES.get(event)
    return place if change is None else change(place, record)


def _read(place: Here, record: Record) -> Here:
    name = record.reading or ""
    if record.event in ("go on", "note only"):
        repeat = {k: v for k, v in place.repeat.items() if k != name}
        return replace(
            place, taken={**place.taken, name: record}, tried=None, repeat=repeat, skipped=place.skipped - {name}
        )
    leaned = place.leaned.union(str(part) for part in record.data.get("leans", []))
    place = replace(place, tried=record, taken=_without(place.taken, {name}), leaned=leaned)
    if record.event == "switch off now":
        return replace(place, safing=Safing(), findings=(), why_off=f"{name}: {record.why}")
    return place


def _without(taken: Mapping[str, Record], names: Iterable[str]) -> Mapping[str, Record]:
    gone = set(names)
    return {k: v for k, v in taken.items() if k not in gone}


def _begin(place: Here, record: Record) -> Here:
    return replace(place, digest=str(record.data.get("digest", "")))


def _set_up(place: Here, record: Record) -> Here:
    stage = str(record.data.get("stage", ""))
    powered = record.event == "power"
    findings = () if powered else place.findings
    place = replace(place, stage=stage, since=record.at, powered=powered, tried=None, why_off="", findings=findings)
    return replace(place, pulled="")


def _pulled(place: Here, record: Record) -> Here:
    return replace(place, pulled=record.at)


def _resume(place: Here, record: Record) -> Here:
    """What a plug did between two sittings nobody knows."""
    return replace(place, pulled="")


def _counted(place: Here, record: Record) -> Here:
    return replace(place, counted=record, tried=None)


def _skip(place: Here, record: Record) -> Here:
    name = record.reading or ""
    return replace(place, skipped=place.skipped | {name}, tried=None, taken=_without(place.taken, {name}))


def _void(place: Here, record: Record) -> Here:
    """back, change, repeat: readings that do not count any longer, and rungs that are not passed any longer."""
    names = [record.reading] if record.reading else [str(n) for n in record.data.get("readings", [])]
    rungs = {n.split("/", 1)[0] for n in names} | {str(r) for r in record.data.get("rungs", [])}
    repeat = dict(place.repeat)
    if record.event != "back":
        repeat |= dict.fromkeys(names, record.why)
    return replace(
        place,
        taken=_without(place.taken, names),
        skipped=place.skipped - set(names),
        passed=tuple(r for r in place.passed if r not in rungs),
        signed={r: who for r, who in place.signed.items() if r not in rungs},
        repeat=repeat,
        tried=None,
        digest=str(record.data.get("digest", place.digest)),
        leaned=frozenset() if record.event == "change" else place.leaned,
    )


def _pass(place: Here, record: Record) -> Here:
    rung = record.rung or ""
    signed = {**place.signed, rung: record.who} if record.event == "sign" else place.signed
    return replace(place, passed=(*place.passed, rung), signed=signed, tried=None)


def _off(place: Here, record: Record) -> Here:
    return replace(place, safing=Safing(), why_off=record.why, tried=None, findings=())


def _safe(place: Here, record: Record) -> Here:
    """One step of making safe."""
    safing, event = place.safing, record.event
    part = str(record.data.get("part", ""))
    if event == "unplugged":
        safing = Safing(off=place.pulled or record.at)  # it falls from the moment that it was out
    elif event == "proved":
        safing = replace(safing, source=float(record.data["volts"]))
    elif event == "fell":
        safing = replace(safing, fell={**safing.fell, part: record})
    elif event == "slow":
        safing = replace(safing, slow=safing.slow + 1, source=None)
        if safing.slow > 1:
            safing = replace(safing, fell={**safing.fell, part: record}, source=float(record.data["source"]))
        return replace(place, safing=safing, findings=(*place.findings, record.why))
    elif event == "discharged":
        safing = replace(safing, discharged={**safing.discharged, part: record}, again=_without(safing.again, {part}))
    elif event == "again":
        safing = replace(safing, again={**safing.again, part: record})
    elif event == "not down" and record.data.get("meter"):
        safing = Safing(off=safing.off, fell=safing.fell, slow=safing.slow)
    elif event == "not down":
        gone = {part}
        safing = replace(safing, discharged=_without(safing.discharged, gone), again=_without(safing.again, gone))
    return replace(place, safing=safing)


def _made_safe(place: Here, record: Record) -> Here:
    return replace(place, powered=False, stage="", tried=None, pulled="")


def _mains(place: Here, record: Record) -> Here:
    return replace(place, mains_share=float(record.data["share"]))


def _meter(place: Here, record: Record) -> Here:
    return replace(place, meter=record.value)


# After a count the gate is signed, its rung passes and the next is opened; a meter or the mains changes no clip.
_KEEPS_COUNT = ("counted", "sign", "open", "mains", "meter")

_CHANGES = {
    "begin": _begin,
    "ready": _set_up,
    "power": _set_up,
    "counted": _counted,
    "pulled": _pulled,
    "resume": _resume,
    "skip": _skip,
    "back": _void,
    "change": _void,
    "repeat": _void,
    "pass": _pass,
    "sign": _pass,
    "switch off": _off,
    **dict.fromkeys(("unplugged", "proved", "fell", "slow", "discharged", "again", "not down"), _safe),
    "made safe": _made_safe,
    "mains": _mains,
    "meter": _meter,
}
