"""``firstglow mains`` as one JSON document: SI numbers, null where nothing is known or nothing happens."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from firstglow.audit.figures import Figures
from firstglow.audit.fuse_judged import Fuses, Judged, Place, Unsaved
from firstglow.audit.heater_life import life
from firstglow.audit.lamp_choice import Lamp, LampChoice
from firstglow.audit.mains_heaters import Dropped
from firstglow.audit.mains_now import Held, Today
from firstglow.audit.mains_silicon import Behind
from firstglow.audit.mains_ways import Way


@dataclass(frozen=True)
class MainsAudit:
    """Everything that the command says."""

    today: Today
    ways: tuple[Way, ...]
    heaters: tuple[Dropped, ...]
    behind: tuple[Behind, ...]
    fuses: Fuses
    lamp: LampChoice


def document(found: MainsAudit) -> dict[str, Any]:
    """The document."""
    t = found.today
    return {
        "mains": {"mark": t.mark, "now": t.now, "high": t.high, "over": t.over},
        "heaters": [_heater(t, e) for e in t.at_now.heaters],
        "at_mark": standing(t.at_mark),
        "at_now": standing(t.at_now),
        "presets_left": standing(t.left),
        "full_power": standing(t.full),
        "switch_on": [_held(h) for h in t.held],
        "findings": list(t.findings),
        "findings_on_mark": list(t.past_mark) if t.needs else None,
        "ways": [_way(w) for w in found.ways],
        "heater_resistors": [_dropped(d) for d in found.heaters],
        "behind_silicon": [_behind(b) for b in found.behind],
        "fuses": {
            "inrush": _inrush(found.fuses),
            "places": [_place(p) for p in found.fuses.places],
            "unsaved": [_unsaved(u) for u in found.fuses.unsaved],
            "fit": found.fuses.fit or None,
            "judged_on_volts": found.fuses.mains,
            "lowest_volts": found.fuses.low,
        },
        "lamp": {
            "watts": found.lamp.watts,
            "volt_amps": found.lamp.volt_amps,
            "proposed": found.lamp.proposed.watts,
            "ladder": found.lamp.ladder,
            "sizes": [_lamp(x) for x in found.lamp.lamps],
        },
    }


def standing(f: Figures) -> dict[str, Any]:
    """One way of standing."""
    return {
        "primary_volts": f.primary_volts, "mains_amps": f.mains_amps, "mains_watts": f.mains_watts,
        "heaters": {e: {"volts": v, "rated": r} for e, (v, r) in f.heaters.items()}, "ht": dict(f.ht), "bias": dict(f.bias),
        "outputs": [
            {
                "valve": o.valve, "cathode_amps": o.amps, "plate_volts": o.plate_volts, "plate_watts": o.watts,
                "plate_watts_limit": o.limit,
            }
            for o in f.outputs
        ],
    }  # fmt: skip


def _heater(t: Today, envelope: str) -> dict[str, Any]:
    volts, rated = t.at_now.heaters[envelope]
    said = life(volts / rated)
    return {
        "envelope": envelope, "rated": rated, "on_mark": t.at_mark.heaters[envelope][0], "now": volts, "over": volts / rated - 1.0,
        "state": said.state, "life": said.cathode, "lamp_life": said.lamp,
    }  # fmt: skip


def _held(h: Held) -> dict[str, Any]:
    return {
        "part": h.part,
        "joint": h.joint,
        "volts": h.volts,
        "working": h.working,
        "surge": h.surge,
        "verdict": h.verdict,
    }


def _way(w: Way) -> dict[str, Any]:
    return {
        "kind": w.kind, "what": w.what, "aim": w.aim or None, "buy": dict(w.buy), "running": standing(w.at), "full_power": standing(w.full),
        "switch_on": dict(w.switch_on), "inrush_peak_amps": _number(w.inrush), "sag_volts": w.sag, "sag_before_volts": w.sag_before,
        "miss": w.miss, "not_cured": list(w.not_cured), "cautions": list(w.cautions),
    }  # fmt: skip


def _dropped(d: Dropped) -> dict[str, Any]:
    return {
        "line": d.line, "envelopes": list(d.envelopes), "ohms": d.each, "count": d.count, "amps": d.amps, "heat_watts": d.heat,
        "rated_watts": d.rated, "before": d.before, "after": d.after, "running": standing(d.at),
    }  # fmt: skip


def _behind(b: Behind) -> dict[str, Any]:
    return {
        "supply": b.supply, "valve": b.valve, "as_if": not b.real, "ohms": b.ohms, "amps_rms": b.amps_rms, "heat_watts": b.heat,
        "rated_watts": b.rated, "matches_amps": b.matches,
        "compared": [{"amps": r.amps, "valve": r.valve, "silicon": r.silicon, "resistor": r.resistor} for r in b.rows],
        "switch_on": {
            word: None
            if s is None
            else {"most_volts": s.most, "at_s": s.at, "there_s": s.there, "draws_s": s.draws}
            for word, s in (("resistor", b.resistor_on), ("valve", b.valve_on))
        },
        "capacitors": [_held(h) for h in b.held],
    }  # fmt: skip


def _inrush(f: Fuses) -> dict[str, Any]:
    i = f.inrush
    return {
        "time_s": [float(x) for x in i.seconds], "amps_rms": [float(x) for x in i.amps], "running_amps": i.running,
        "cold_amps": i.cold, "charge_peak_amps": i.charge, "charge_i2t": i.charge_i2t,
        "core_peak_amps": [_number(x) for x in i.core], "core_i2t": _number(i.core_i2t), "copper_peak_amps": _number(i.copper),
    }  # fmt: skip


def _place(p: Place) -> dict[str, Any]:
    return {
        "part": p.part or None, "place": p.place, "amps": p.amps, "full_power_amps": p.full_amps, "volts": p.volts,
        "now": None if p.now is None else _judged(p.now), "proposed": [_judged(j) for j in p.proposed], "cautions": list(p.cautions),
    }  # fmt: skip


def _unsaved(u: Unsaved) -> dict[str, Any]:
    return {
        "fault": u.blown.fault,
        "amps": u.blown.amps,
        "times": u.blown.times,
        "hurt": list(u.hurt),
        "line_fuse": u.line or None,
        "ht_fuse": u.ht or None,
    }


def _judged(j: Judged) -> dict[str, Any]:
    return {
        "fuse": j.fuse.name, "amps": j.fuse.amps, "class": j.fuse.speed, "breaking": j.fuse.breaking, "breaks_amps": j.fuse.breaks,
        "carries": j.carries, "full_power": j.full, "start": j.start, "holds_start": j.holds, "verdict": j.verdict,
        "faults": [
            {
                "fault": b.fault, "amps": b.amps, "times": b.times, "holds_s": _number(b.least), "within_s": b.within,
                "text": b.text, "low_amps": b.low_amps, "low_within_s": b.low_within,
            }
            for b in j.blown
        ],
    }  # fmt: skip


def _lamp(lamp: Lamp) -> dict[str, Any]:
    return {
        "watts": lamp.watts, "primary_share": lamp.awake, "tells": lamp.tells, "verdict": lamp.verdict,
        "rungs": [
            {
                "rung": s.rung, "good": s.words[0], "half_short": s.words[1], "short": s.words[2], "primary_volts": s.primary,
                "heater_over_rated": s.heater_ratio, "ht_volts": s.ht, "bare_primary_volts": s.bare_primary,
                "bare_heater_over_rated": s.bare_heater_ratio, "bare_ht_volts": s.bare_ht,
                "heaters": [{"rated": r, "volts": v, "bare_volts": b} for r, (v, b) in s.heaters.items()],
                "bias": [{"joint": j, "volts": v, "bare_volts": b} for j, (v, b) in s.bias.items()],
            }
            for s in lamp.seen
        ],
    }  # fmt: skip


def _number(value: float) -> float | None:
    return value if isfinite(value) else None


def envelopes(names: Sequence[str]) -> str:
    """V1, V2, V3 as V1 to V3 where they follow each other."""
    out: list[list[str]] = []
    for name in names:
        number = int(name[1:]) if name[:1] == "V" and name[1:].isdigit() else None
        last = out[-1][-1] if out else ""
        if number is not None and last[:1] == "V" and last[1:].isdigit() and int(last[1:]) == number - 1:
            out[-1].append(name)
        else:
            out.append([name])
    return ", ".join(f"{g[0]} to {g[-1]}" if len(g) > 2 else ", ".join(g) for g in out)
