"""What is demanded of a bias network, each demand with how it stands in bench words."""

from collections.abc import Mapping
from dataclasses import dataclass

from firstglow.amplifier.model import Part
from firstglow.audit.bias_found import Found
from firstglow.audit.bias_ready import Ready
from firstglow.audit.bias_trial import Trial
from firstglow.audit.replace_leak import lower_leak
from firstglow.markings.made import made_volts, made_watts
from firstglow.quantities import show
from firstglow.readings.rated import section_of

HALF_LOAD = 0.5
"""A resistor or a pot's track is loaded to half its watts at most (common practice)."""
MOST_OF_VOLTS = 0.9
"""A new electrolytic is chosen with a tenth of its volts to spare (common practice)."""
RATINGS = frozenset({"preset track", "resistors", "capacitor", "winding", "grid leak"})
LEAST_ROOM = 0.03
"""Part of the travel that must be left at either end."""


@dataclass(frozen=True, slots=True)
class Check:
    """One demand: what, whether it holds, how it stands in words. as_drawn: what fails it is no part of this network."""

    what: str
    holds: bool
    text: str
    as_drawn: bool = False

    @property
    def rating(self) -> bool:
        """It is about what a part stands."""
        return self.what in RATINGS


def ratings(trial: Trial, f: Found) -> dict[str, float]:
    """Capacitors that need more volts and resistors that need more watts: "C4 volts" -> the next made rating."""
    out, parts = {}, trial.amplifier.parts
    for name, volts in f.volts.items():
        rated = _rated(parts[name], "volts")
        made = made_volts(volts / MOST_OF_VOLTS, "electrolytic")
        if rated is not None and volts > rated and made is not None:
            out[f"{name} volts"] = float(made)
    for name, watts in f.watts.items():
        rated = _rated(parts[name], "watts")
        if parts[name].kind == "resistor" and rated is not None and watts > HALF_LOAD * rated:
            made = made_watts(watts / HALF_LOAD) or made_watts(watts / HALF_LOAD, "wirewound")
            if made is not None:
                out[f"{name} watts"] = made
    return out


def _rated(part: Part, of: str) -> float | None:
    found = part.values.get(of)
    return found.value if found is not None and found.value > 0 else None


def checks(trial: Trial, f: Found, ready: Ready | None, limit: float, fitted: Mapping[str, float]) -> tuple[Check, ...]:
    """fitted: ratings that the proposal raises, as ``ratings`` gives them; empty for what stands."""
    a = trial.amplifier
    low, high = 1e2 * f.room, 1e2 * (1.0 - f.room)
    worst = max(f.safe, key=lambda v: f.safe[v][2] - f.safe[v][1])
    mains, safe, most = f.safe[worst]
    hum = max(f.hum.values())
    out = [
        Check(
            "idle reached", all(i.reached for i in f.idle.values()),
            f"weakest and strongest valve on {trial.mains[0]:.0f} to {trial.mains[2]:.0f} V: presets between "
            f"{low:.0f} and {high:.0f} % of their travel" if f.room > 0
            else "a preset comes to its end before the weakest or the strongest valve idles as wanted",
        ),
        Check("room at both ends", f.room >= LEAST_ROOM, f"{low:.0f} % of the travel left at either end, worst valve, worst mains"),
        Check(
            "holds the strongest valve", f.holds,
            f"most negative end {most:.1f} V, {safe:.1f} V wanted on unloaded HT at {mains:.0f} V mains ({worst})",
        ),
        Check("wiper open", all(w.safe for w in f.wipers), _wiper_words(f)),
        Check("hum", hum <= limit, f"{small_volts(hum)} at the grids from this supply, {small_volts(limit)} allowed"),
        *([_leads(ready)] if ready else []),
        *_watts(trial, f, fitted),
        *_volts(trial, f, fitted),
        *_leaks(trial, f),
    ]  # fmt: skip
    s = trial.net.supply
    winding = next(w for w in a.parts[s.transformer].windings if w.name == s.windings[0])
    if winding.amps is not None and f.winding_amps is not None:
        rated = winding.amps.value
        text = f"{s.transformer} {winding.name} gives {1e3 * f.winding_amps:.1f} mA dc, rated {1e3 * rated:.0f} mA"
        out.append(Check("winding", f.winding_amps <= rated, text))
    return tuple(out)


def small_volts(volts: float) -> str:
    """Hum as it is spoken of: 0.28 mV, and in microvolts where that would read 0.00."""
    return f"{1e3 * volts:.2f} mV" if volts >= 1e-5 else f"{1e6 * volts:.2g} µV"


def _wiper_words(f: Found) -> str:
    bad = [w for w in f.wipers if not w.safe]
    if bad:
        w = max(bad, key=lambda x: x.after)
        burns = f"draws {1e3 * w.after:.0f} mA on {w.mains:.0f} V mains: it burns"
        return f"{w.pot} open: {w.valve}'s grid goes to {w.grid:+.1f} V and it {burns}"
    w = max(f.wipers, key=lambda x: x.after)
    others = f"; the others rise {1e2 * w.others:.0f} % with HT, their bias does not fall" if w.others > 0.005 else ""
    fall = f"{1e3 * w.before:.1f} mA fall to {1e3 * w.after:.1f} mA on {w.mains:.0f} V mains"
    return f"{w.pot} open: {w.valve}'s grid goes to {w.grid:.1f} V, {fall}{others}"


def _leads(ready: Ready) -> Check:
    ahead = ready.before_current
    if ahead is None:
        return Check(
            "up before the current", ready.bias is not None, "no output valve draws current in the first half minute"
        )
    return Check(
        "up before the current", ahead > 0.0,
        f"bias there (nine tenths) at {ready.bias:.1f} s, output valves draw at {ready.current:.1f} s (cold start, highest mains)"
        + (f"{LIFTED}" if ready.lifted else ""),
    )  # fmt: skip


LIFTED = "; in between HT that rises takes the last tenth from a grid again for a moment (firstglow start says by what)"


def _watts(trial: Trial, f: Found, fitted: Mapping[str, float]) -> list[Check]:
    """Ratings of presets and resistors: the one with least to spare of each, and what is not known."""
    parts, out = trial.amplifier.parts, []
    for kind, words in (("pot", "preset track"), ("resistor", "resistors")):
        mine = {n: w for n, w in f.watts.items() if parts[n].kind == kind}
        rated = {n: fitted.get(f"{n} watts") or _rated(parts[n], "watts") for n in mine}
        known = {n: r for n, r in rated.items() if r is not None}
        if known:
            n = max(known, key=lambda x: mine[x] / known[x])
            new = f"; fit {known[n]:g} W" if f"{n} watts" in fitted else ""
            text = f"{n} takes {1e3 * mine[n]:.0f} mW of its {1e3 * known[n]:.0f} mW{new}"
            out.append(Check(words, mine[n] <= HALF_LOAD * known[n], text))
        unknown = [n for n, r in rated.items() if r is None]
        if unknown:
            n = max(unknown, key=lambda x: mine[x])
            text = f"{', '.join(unknown)}: rating unknown, {made_watts(mine[n] / HALF_LOAD) or 3:g} W or more is wanted"
            out.append(Check(words, True, text))
    return out


def _volts(trial: Trial, f: Found, fitted: Mapping[str, float]) -> list[Check]:
    out = []
    for n, v in f.volts.items():
        rated, raised = _rated(trial.amplifier.parts[n], "volts"), fitted.get(f"{n} volts")
        if rated is None:
            out.append(Check("capacitor", True, f"{n} stands {v:.0f} V; rating unknown: look for the volts on it"))
            continue
        new = (
            f": too much for its {rated:.0f} V, fit {raised:.0f} V"
            if raised
            else f" of its {rated:.0f} V, plus on chassis"
        )
        out.append(Check("capacitor", v <= (raised or rated), f"{n} stands {v:.0f} V{new}"))
    return out


def _leaks(trial: Trial, f: Found) -> list[Check]:
    """Ohms at the grid against the published limit for fixed bias; past it by the leak alone is the drawing's affair."""
    worst: Check | None = None
    for o in trial.outputs:
        limit = section_of(trial.amplifier.parts[o.valve]).limits.grid_leak_fixed_ohms
        ohms = f.grid_ohms[o.valve]
        if limit is None:
            continue
        leak = sum(
            f.design.get(f"{p} ohms", trial.amplifier.parts[p].value("ohms")) for p in (o.grid_leak, o.stopper) if p
        )
        more = ""
        if ohms > limit and o.grid_leak:
            new = lower_leak(
                limit, ohms, f.design.get(f"{o.grid_leak} ohms", trial.amplifier.parts[o.grid_leak].value("ohms"))
            )
            keeps = (
                f": {show(new, 'ohm')} in its place keeps the limit"
                if new is not None
                else ": what feeds it wants less ohms"
            )
            more = f", of which {o.grid_leak} and stopper as drawn are {1e-3 * leak:.0f}{keeps}"
        found = Check(
            "grid leak", ohms <= limit,
            f"{1e-3 * ohms:.0f} kohm at the grid of {o.valve} under power, {1e-3 * limit:.0f} kohm allowed with fixed bias{more}",
            leak > limit,
        )  # fmt: skip
        if worst is None or not found.holds:
            worst = found
    return [worst] if worst else []
