"""Windings of mains and output transformers, by hand, with ordinary spreads: what ``builders`` winds its transformers with."""

from __future__ import annotations

from dataclasses import replace

from firstglow.amplifier.model import Quantity, Winding


def winding(
    name: str, start: str, end: str, volts: float, ohms: float, amps: float | None = None, role: str = "secondary"
) -> Winding:
    """One winding with ordinary spreads: volts 3 %, ohms 10 %."""
    rating = None if amps is None else Quantity(amps)
    return Winding(name, start, end, Quantity(volts, 0.03, "uniform"), Quantity(ohms, 0.1, "uniform"), rating, role)  # type: ignore[arg-type]


def primary(volts: float, ohms: float) -> Winding:
    return winding("primary", "primary 1", "primary 2", volts, ohms, role="primary")


def tapped(name: str, volts: float, ohms: float, amps: float | None = None) -> tuple[Winding, Winding]:
    """A centre-tapped winding as its two sides: ``volts`` and ``ohms`` of EACH side."""
    return (
        winding(f"{name} a", f"{name} 1", f"{name} ct", volts, ohms, amps),
        winding(f"{name} b", f"{name} ct", f"{name} 2", volts, ohms, amps),
    )


def push_pull_windings(
    raa: float, taps: tuple[float, ...] = (4.0, 8.0), half_ohms: float = 100.0, screen_tap: float = 0.0
) -> tuple[Winding, ...]:
    """Output transformer: primary halves (with ultralinear taps at ``screen_tap`` of each half) and a tapped secondary.

    Turns are relative to the section from common to the lowest tap.
    """
    half = 0.5 * (raa / taps[0]) ** 0.5
    out: list[Winding] = []
    if screen_tap:
        t = screen_tap
        out += [
            winding("plate a", "plate a", "screen a", half * (1 - t), half_ohms * (1 - t), role="primary"),
            winding("screen a", "screen a", "centre", half * t, half_ohms * t, role="primary"),
            winding("screen b", "centre", "screen b", half * t, half_ohms * t, role="primary"),
            winding("plate b", "screen b", "plate b", half * (1 - t), half_ohms * (1 - t), role="primary"),
        ]
    else:
        out += [
            winding("plate a", "plate a", "centre", half, half_ohms, role="primary"),
            winding("plate b", "centre", "plate b", half, half_ohms, role="primary"),
        ]
    return (*out, *secondaries(taps))


def turned(windings: tuple[Winding, ...]) -> tuple[Winding, ...]:
    """The same transformer with its secondary the other way round: its hot end follows plate b."""
    return tuple(replace(w, start=w.end, end=w.start) if w.role == "secondary" else w for w in windings)


def single_ended_windings(ra: float, taps: tuple[float, ...] = (4.0, 8.0), ohms: float = 200.0) -> tuple[Winding, ...]:
    """Single-ended output transformer: "plate a" to "centre", and a tapped secondary."""
    return (winding("plate a", "plate a", "centre", (ra / taps[0]) ** 0.5, ohms, role="primary"), *secondaries(taps))


def secondaries(taps: tuple[float, ...]) -> tuple[Winding, ...]:
    out = []
    below, turns = "common", 0.0
    for tap in taps:
        lead = f"{tap:g}"
        full = (tap / taps[0]) ** 0.5
        out.append(winding(f"secondary {lead}", lead, below, full - turns, 0.3 * (full - turns)))
        below, turns = lead, full
    return tuple(out)
