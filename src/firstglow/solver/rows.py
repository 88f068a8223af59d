"""The standing rows (CONTRACTS): volts, amps and heat of one part or winding."""

from collections.abc import Mapping

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.solver.bookkeeping import Books
from firstglow.solver.currents import Bench, Flow
from firstglow.solver.frame import Array
from firstglow.solver.parameters import CONTACT_OHMS

ROWS = ("plate", "screen", "grid")
ACROSS = 0.9
"""A part with more of the mains than this on it stands across them, not in the line."""


def standing_row(bench: Bench, books: Books, name: str) -> Mapping[str, Array]:
    """The row of a part, a valve section or a winding. KeyError if there is none of that name."""
    parts = bench.amplifier.parts
    if name in books.flows and name not in parts:
        return _winding(bench, books, name)
    part = parts[name]
    if part.windings:
        return _transformer(bench, books, part)
    flow = books.flows[name]
    out = _ends(bench, part, flow)
    if part.kind in {"valve", "rectifier", "heater", "lamp"}:
        keep = ("_volts", "_amps", "_watts")
        out |= {k: v for k, v in flow.row.items() if k.endswith(keep) and k != "own_watts"}
    if part.kind == "rectifier":
        heater = parts.get(f"{part.envelope} heater")
        if heater is not None:
            out["heater_volts"] = bench.heater_reading(heater)
    if "own_watts" in flow.row:
        out["watts"] = np.asarray(flow.row["own_watts"])
        out["amps_rms"] = np.sqrt(np.maximum(flow.row["square"], 0.0))
    if part.kind in {"fuse", "switch", "wire", "resistor"} and "amps_rms" in out:
        _in_the_line(bench, books, part, out)
    return {k: np.broadcast_to(np.asarray(v, dtype=float), (bench.x.shape[1],)) for k, v in out.items()}


def _in_the_line(bench: Bench, books: Books, part: Part, out: dict[str, Array]) -> None:
    """What stands in the line carries the pulses' harmonics too, and is warmed by them; a resistor across the mains does not."""
    mains = bench.frame.nodes.mains
    if not all(bench.at(part, lead) in mains for lead in part.leads):
        return
    series = out["volts_ac"] < ACROSS * bench.p("mains volts")
    rest = np.where(series, _lamp_rest(books), 0.0)
    ohms = np.maximum(bench.p(f"{part.name} ohms"), CONTACT_OHMS)
    out["amps_rms"] = np.sqrt(out["amps_rms"] ** 2 + rest)
    out["watts"] = out["watts"] + rest * np.where(out["amps_rms"] > 0.0, ohms, 0.0)


def _ends(bench: Bench, part: Part, flow: Flow) -> dict[str, Array]:
    """Between the first lead and the second (a valve: plate and cathode)."""
    leads = list(part.leads)
    one = leads[0]
    two = "cathode" if part.kind in {"valve", "rectifier"} else leads[-1] if part.kind == "pot" else leads[1]
    a, b = bench.at(part, one), bench.at(part, two)
    none = np.zeros(bench.x.shape[1])
    out = {
        "volts": bench.dc(a) - bench.dc(b),
        "amps": _amps(bench, part, one, flow),
        "watts": np.asarray(flow.watts - flow.row.get("reactive", 0.0)),
    }
    if flow.ac and (f"ac {a}" in bench.frame.index or f"ac {b}" in bench.frame.index):
        u = bench.ac(a) - bench.ac(b)
        out["volts_ac"] = np.abs(u)
        amps = flow.ac.get(a, none)
        out["amps_rms"] = np.sqrt(np.abs(amps) ** 2 + out["amps"] ** 2)
    return out


def _amps(bench: Bench, part: Part, lead: str, flow: Flow) -> Array:
    """Dc amps into the first lead; of a valve the plate's, of a rectifier all plates'."""
    if part.kind == "valve":
        return np.asarray(flow.row["plate_amps"])
    if part.kind == "rectifier":
        return np.asarray(-flow.dc.get(bench.at(part, "cathode"), np.zeros(bench.x.shape[1])))
    return np.asarray(flow.dc.get(bench.at(part, lead), np.zeros(bench.x.shape[1])))


def _winding(bench: Bench, books: Books, name: str) -> Mapping[str, Array]:
    """A winding: its dc, its ac, its heat with the pulses' harmonics counted in."""
    flow = books.flows[name]
    if "square" not in flow.row:
        raise KeyError(name)
    part = next(p for p in bench.amplifier.parts.values() if any(f"{p.name} {w.name}" == name for w in p.windings))
    w = next(w for w in part.windings if f"{part.name} {w.name}" == name)
    a, b = bench.at(part, w.start), bench.at(part, w.end)
    square = flow.row["square"] + _harmonics(flow)
    if part.kind == "transformer" and w.role == "primary":
        square = square + _own_rest(bench, books, part)
    r = np.maximum(bench.p(f"{name} ohms"), CONTACT_OHMS)
    out = {
        "volts": bench.dc(a) - bench.dc(b),
        "amps": flow.dc[a] if a != b else np.zeros_like(r),
        "amps_rms": np.sqrt(square),
        "watts": square * r,
    }
    if "volts_ac" in flow.row:
        out["volts_ac"] = flow.row["volts_ac"]
    return {k: np.asarray(v, dtype=float) for k, v in out.items()}


def _harmonics(flow: Flow) -> Array:
    """What a winding's pulses have beyond their mean and fundamental, all legs through it together [A^2]: pulses that take
    turns add their squares, while their means may cancel (a bridge) and their fundamentals add up."""
    square, mean, wave = (flow.row.get(f"pulses {what}", 0.0) for what in ("square", "dc", "in phase"))
    return np.asarray(np.maximum(square - mean**2 - wave**2, 0.0))


def _lamp_rest(books: Books) -> Array:
    """The pulses' harmonics in the mains [A^2]."""
    flow = books.flows.get("lamp")
    return np.asarray(0.0 if flow is None else np.maximum(flow.row.get("rest", 0.0), 0.0))


def _own_rest(bench: Bench, books: Books, part: Part) -> Array:
    """Of those, what a transformer's own windings draw where several hang on the mains [A^2]."""
    rest = _lamp_rest(books)
    every = bench.amplifier.of_kind("transformer")
    if len(every) == 1:
        return rest
    none = np.zeros(bench.x.shape[1])
    pull = {
        t.name: sum(
            (
                w.turns.value**2 * _harmonics(books.flows[f"{t.name} {w.name}"])
                for w in t.windings
                if w.role != "primary"
            ),
            none,
        )
        for t in every
    }
    whole = sum(pull.values(), none)
    return np.asarray(
        rest * np.where(whole > 0.0, pull[part.name] / np.where(whole > 0.0, whole, 1.0), 1.0 / len(every))
    )


def _transformer(bench: Bench, books: Books, part: Part) -> Mapping[str, Array]:
    """The whole transformer: the heat of all windings (and the core)."""
    rows = [_winding(bench, books, f"{part.name} {w.name}") for w in part.windings]
    return {"watts": np.asarray(sum(r["watts"] for r in rows))}
