"""Row 11: a small alternating voltage on the loudspeaker terminals proves halves, ratio and phase of the output
transformer cold, before any valve could howl."""

from collections.abc import Iterator
from dataclasses import replace

from firstglow.amplifier.model import Part
from firstglow.ladder import stops
from firstglow.ladder.frame import Frame
from firstglow.readings.probe import Beside, PlannedReading

DRIVE = 0.5  # V rms on the loudspeaker terminals
MOST = 10.0  # V rms that a plate may reach: the set is open on the bench (common practice)
STEPS = (0.5, 0.3, 0.2, 0.1, 0.05, 0.03, 0.02, 0.01)


def heights(transformer: Part) -> dict[str, tuple[int, float]]:
    """Lead -> (which insulated group of windings, turns above that group's first lead)."""
    found: dict[str, tuple[int, float]] = {}
    for group, winding in enumerate(transformer.windings):
        if winding.start in found:
            continue
        found[winding.start] = (group, 0.0)
        growing = True
        while growing:
            growing = False
            for w in transformer.windings:
                if w.start in found and w.end not in found and found[w.start][0] == group:
                    found[w.end] = (group, found[w.start][1] - w.turns.value)
                    growing = True
                elif w.end in found and w.start not in found and found[w.end][0] == group:
                    found[w.start] = (group, found[w.end][1] + w.turns.value)
                    growing = True
    return found


def load_of(frame: Frame, transformer: str) -> tuple[str, str, str] | None:
    """(load part, transformer lead at its hot terminal, lead at its common); None where no load hangs on it."""
    leads = frame.part(transformer).leads
    for load in frame.amplifier.of_kind("load"):
        hot = [lead for lead, joint in leads.items() if joint == load.leads["hot"]]
        common = [lead for lead, joint in leads.items() if joint == load.leads["common"]]
        if hot and common:
            return load.name, hot[0], common[0]
    return None


def drive_volts(frame: Frame, transformer: str, hot: str, common: str) -> float:
    """0.5 V, or the largest step below it that keeps every lead of the primary under 10 V."""
    at = heights(frame.part(transformer))
    secondary = abs(at[hot][1] - at[common][1])
    if "centre" not in at or secondary == 0:
        return STEPS[-1]
    primary = max(abs(t - at["centre"][1]) for group, t in at.values() if group == at["centre"][0])
    return next((step for step in STEPS if step * primary / secondary <= MOST), STEPS[-1])


def turns_readings(frame: Frame, rung: str) -> Iterator[PlannedReading]:
    """The volts put on, then each plate to the centre, and to loudspeaker hot: all of them go with what is put on."""
    driven: set[str] = set()
    for v in frame.roles.outputs:
        found = load_of(frame, v.transformer) if v.transformer else None
        if found is None or v.transformer is None:
            continue
        _, hot, common = found
        drive = drive_volts(frame, v.transformer, hot, common)
        situation = frame.unplugged(stimulus_volts=drive)
        plate, fill = frame.at(v.valve, "plate"), {"drive": drive}
        if v.transformer not in driven:
            driven.add(v.transformer)
            yield frame.reading(
                rung,
                "turns drive",
                "turns_drive",
                frame.at(v.transformer, hot),
                frame.at(v.transformer, common),
                situation,
                kind="ac volts",
                quantity="turns volts",
                owner=v.transformer,
                remark=frame.words.text("rung.note.drive"),
                fill=fill,
            )
        half = frame.reading(
            rung,
            "turns to centre",
            "turns_half",
            plate,
            frame.at(v.transformer, "centre"),
            situation,
            kind="ac volts",
            quantity="turns volts",
            owner=v.valve,
            stops=stops.within(0.05, "halves or ratio wrong" if v.partner else "ratio wrong"),
            fill=fill,
        )
        other = Beside("halves", frame.reading_id(rung, "turns to centre", v.partner)) if v.partner else None
        yield replace(half, beside=other)
        if not v.partner and not frame.roles.loops:
            continue  # one plate and no loop: either way round is right
        hot_row = frame.reading(
            rung,
            "turns to hot",
            "turns_hot",
            plate,
            frame.at(v.transformer, hot),
            situation,
            kind="ac volts",
            quantity="turns volts",
            owner=v.valve,
            stops=stops.within(0.05, "phase wrong"),
            fill=fill,
        )
        yield replace(hot_row, beside=Beside("side", half.id))
