"""Mid-band signal of examples/b-hazel-four.toml by hand: slopes by differences of the laws, seven node equations."""

from collections.abc import Mapping

import numpy as np

from second_solutions import laws


def slopes(law: laws.Law, limit: float, plate: float, screen: float, grid: float) -> tuple[np.ndarray, np.ndarray]:
    """Slopes of plate and screen amps by (plate, screen, grid) volts, central differences."""

    def amps(p: float, s: float, g: float) -> np.ndarray:
        return np.array(laws.within([*laws.pentode(law, p, s, g), laws.grid_current(g)], limit)[:2])

    at = np.array([plate, screen, grid])
    columns = []
    for k in range(3):
        step = np.zeros(3)
        step[k] = 1e-4 * (1 + abs(at[k]))
        columns.append((amps(*(at + step)) - amps(*(at - step))) / (2 * step[k]))
    both = np.array(columns).T
    return both[0], both[1]


def gains(v: Mapping[str, float], types: Mapping[str, laws.Law], x: Mapping[str, float]) -> dict[str, float]:
    """Gain to the loudspeaker with the loop lifted (its lead on the chassis) and closed, gain to V1's plate with it
    lifted, output ohms with it closed (8 ohm load taken away). v: part values; x: joints at dc and "heater"."""
    valve = {}
    for name, kind in (("V1", "EF86"), ("V2", "EL84")):
        limit = laws.emission(types[kind]["cathode amps"], x["heater"] / 6.3)
        k = x[f"{name} cathode"]
        valve[name] = slopes(types[kind], limit, x[f"{name} plate"] - k, x[f"{name} screen"] - k, x[f"{name} grid"] - k)
    turns = v["T2 plate a turns"] / v["T2 secondary 8 turns"]
    r = {part: v[f"{part} ohms"] for part in ("R6", "R9", "R10", "R13", "R14", "LS")}
    primary, secondary = v["T2 plate a ohms"], v["T2 secondary 8 ohms"]

    def solve(drive: float, closed: bool, amps: float = 0.0) -> np.ndarray:
        """p: V1 plate, f: its cathode and the foot (C4), s: V2 screen, q: V2 plate, e: volts a turn, o: output."""
        (p1, s1), (p2, s2) = valve["V1"], valve["V2"]
        m, b = np.zeros((6, 6)), np.zeros(6)
        p, f, s, q, e, o = range(6)
        # V1's plate: load, V2's grid leak through C5; its screen is held by C3
        m[p, p] = 1 / r["R6"] + 1 / r["R10"] + p1[0]
        m[p, f] = -p1.sum()
        b[p] = -p1[2] * drive
        # V1's cathode, its resistor bypassed: the foot
        k = p1 + s1
        m[f, f] = 1 / r["R9"] + 1 / r["R14"] + k.sum()
        m[f, p] = -k[0]
        b[f] = k[2] * drive
        if closed:
            m[f, o] = -1 / r["R14"]
        # V2's screen behind its resistor, V2's plate on the primary; its cathode is held by C6
        m[s, s], m[s, q], m[s, p] = 1 / r["R13"] + s2[1], s2[0], s2[2]
        m[q, q], m[q, s], m[q, p] = p2[0] + 1 / primary, p2[1], p2[2]
        m[q, e] = -turns / primary
        # amp-turns of the core: turns (q - turns e)/primary + (o - e)/secondary = 0
        m[e, q], m[e, e], m[e, o] = turns / primary, -turns * turns / primary - 1 / secondary, 1 / secondary
        m[o, o], m[o, e] = 1 / secondary + 1 / r["LS"], -1 / secondary
        if closed:
            m[o, o] += 1 / r["R14"]
            m[o, f] = -1 / r["R14"]
        b[o] = amps
        return np.linalg.solve(m, b)

    lifted, closed = solve(1.0, closed=False), solve(1.0, closed=True)
    into = solve(0.0, closed=True, amps=1.0)[5]
    return {
        "lifted": lifted[5],
        "closed": closed[5],
        "V1 plate": lifted[0],
        "output ohms": 1 / (1 / into - 1 / r["LS"]),
    }
