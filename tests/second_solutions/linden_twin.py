"""examples/a-linden-twin.toml, written out by hand.

Two channels, 6AU6 and a 6CG7 pair into 6V6GT pairs, fixed bias from a winding of its own through silicon, 5V4G into
32 uF, choke.
"""

from collections.abc import Mapping

import numpy as np

from second_solutions import laws
from second_solutions.board import Board, Valve
from second_solutions.supply import CONTACT, HeaterLine, Numbers, agree
from second_solutions.waveform import Cycle, Leg, primary_rms

SLOPE, START = 0.0478, 1.24e-8  # silicon, as in sorrel_twenty.py
# channel: its valves, its transformer
CHANNELS = {"left": ("V1", "V2a", "V2b", "V3", "V4", "T2"), "right": ("V5", "V6a", "V6b", "V7", "V8", "T3")}


def channel(b: Board, v: Numbers, types: Mapping[str, laws.Law], name: str, heater: float) -> None:
    v1, va, vb, v3, v4, t = CHANNELS[name]
    at = {j: f"{name} {j}" for j in ("in", "volume", "bias a", "bias b", "foot a", "foot b", "drive a", "drive b")}
    for part, one, two in [
        ("R11", at["volume"], "chassis"), ("R12", at["volume"], f"{v1} grid"), ("R13", f"{v1} cathode", "chassis"),
        ("R14", "HT4", f"{v1} plate"), ("R15", "HT4", f"{v1} screen"), ("R16", f"{v1} plate", f"{vb} grid"),
        ("R17", f"{va} cathode", "chassis"), ("R18", "HT3", f"{va} plate"), ("R19", "HT3", f"{vb} plate"),
        ("R20", at["foot a"], "chassis"), ("R21", at["foot b"], "chassis"), ("R22", at["drive a"], at["bias a"]),
        ("R23", at["drive a"], f"{v3} grid"), ("R24", "HT2", f"{v3} screen"), ("R25", f"{v3} cathode", "chassis"),
        ("R26", at["drive b"], at["bias b"]), ("R27", at["drive b"], f"{v4} grid"), ("R28", "HT2", f"{v4} screen"),
        ("R29", f"{v4} cathode", "chassis"), ("R30", f"{t} 8", f"{v1} cathode"), ("LS", f"{t} 8", "chassis"),
    ]:  # fmt: skip
        b.r(one, two, v[f"{name} {part} ohms"])
    for winding, one, two in [
        ("plate a", f"{v3} plate", "HT1"), ("plate b", "HT1", f"{v4} plate"), ("secondary 4", "chassis", f"{t} 4"),
        ("secondary 8", f"{t} 4", f"{t} 8"), ("secondary 16", f"{t} 8", f"{t} 16"),
    ]:  # fmt: skip
        b.r(one, two, v[f"{t} {winding} ohms"])
    for part, plus, minus in [
        ("C11", f"{v1} screen", "chassis"), ("C12", f"{vb} grid", "chassis"), ("C13", f"{va} plate", at["drive a"]),
        ("C14", f"{vb} plate", at["drive b"]),
    ]:  # fmt: skip
        b.r(plus, minus, v[f"{name} {part} leak_ohms"])
    b.r(at["volume"], "chassis", v[f"{name} P3 wiper_ohms"] + CONTACT)  # full up, the input shorted
    for side in "ab":
        pot = f"{name} P{1 if side == 'a' else 2}"
        upper, lower = (
            max(v[f"{pot} ohms"] * share, CONTACT) for share in (v[f"{pot} position"], 1 - v[f"{pot} position"])
        )
        b.r("bias", f"{pot} track", upper)
        b.r(f"{pot} track", at[f"foot {side}"], lower)
        b.r(f"{pot} track", at[f"bias {side}"], v[f"{pot} wiper_ohms"])
    for valve, kind, plate, grid, cathode, screen in [
        (v1, "6AU6", f"{v1} plate", f"{v1} grid", f"{v1} cathode", f"{v1} screen"),
        (va, "6CG7", f"{va} plate", f"{v1} plate", f"{va} cathode", ""),
        (vb, "6CG7", f"{vb} plate", f"{vb} grid", f"{va} cathode", ""),
        (v3, "6V6GT", f"{v3} plate", f"{v3} grid", f"{v3} cathode", f"{v3} screen"),
        (v4, "6V6GT", f"{v4} plate", f"{v4} grid", f"{v4} cathode", f"{v4} screen"),
    ]:
        limit = laws.emission(types[kind]["cathode amps"], heater / 6.3)
        b.valves[valve] = Valve(types[kind], plate, grid, cathode, screen, limit)
        b.r(cathode, "chassis", v[f"{valve} hk_leak_ohms"])


def board(v: Numbers, types: Mapping[str, laws.Law], ht1: float, raw: float, heater: float) -> Board:
    """Everything but the reservoirs: HT1 and the bias reservoir are held."""
    b = Board({"HT1": ht1, "bias raw": raw})
    for part, one, two in [
        ("R1", "HT1", "chassis"), ("L1", "HT1", "HT2"), ("R2", "HT2", "HT3"), ("R3", "HT3", "HT4"),
        ("R4", "bias raw", "bias"),
    ]:  # fmt: skip
        b.r(one, two, v[f"{part} ohms"])
    for part, joint in [
        ("C1", "HT1"),
        ("C2", "HT2"),
        ("C3a", "HT3"),
        ("C3b", "HT4"),
        ("C4", "bias raw"),
        ("C5", "bias"),
    ]:
        b.r(joint, "chassis", v[f"{part} leak_ohms"])
    for name in CHANNELS:
        channel(b, v, types, name, heater)
    return b


def guess(ht1: float, raw: float) -> dict[str, float]:
    x = {"HT2": 0.985 * ht1, "HT3": 0.92 * ht1, "HT4": 0.78 * ht1, "bias": 0.8 * raw}
    for name, (v1, va, vb, v3, v4, _) in CHANNELS.items():
        x |= {f"{v1} plate": 0.27 * ht1, f"{v1} screen": 0.16 * ht1, f"{v1} cathode": 1.3, f"{vb} grid": 0.27 * ht1}
        x |= {f"{va} cathode": 0.28 * ht1, f"{va} plate": 0.6 * ht1, f"{vb} plate": 0.6 * ht1}
        for side, valve in (("a", v3), ("b", v4)):
            x |= {
                f"{valve} plate": ht1,
                f"{valve} screen": 0.98 * ht1,
                f"{valve} cathode": 0.2,
                f"{valve} grid": 0.55 * raw,
            }
            x |= {f"{name} {joint} {side}": 0.55 * raw for joint in ("bias", "drive")} | {
                f"{name} foot {side}": 0.3 * raw
            }
            x[f"{name} P{1 if side == 'a' else 2} track"] = 0.55 * raw
    return x


def solve(v: Numbers, types: Mapping[str, laws.Law]) -> dict[str, float]:
    """Dc volts by joint; rms "heater", "rect", "mains amps", "HT1 ripple", "bias raw ripple"; "V3 plate amps"."""
    small = [v[f"V{n} heater amps"] for n in range(1, 9)]
    lines = [
        HeaterLine(("heat a", "heat b"), [(6.3, amps) for amps in small]),
        HeaterLine(("rect",), [(5.0, v["V9 heater amps"])]),
    ]
    raw = [-64.0]  # the bias reservoir's mean, carried from one cycle to the next

    def legs(heaters: list[float]) -> list[Leg]:
        limit = laws.emission(types["5V4G"]["rated_amps"], heaters[1] / 5.0)
        primary = v["T1 primary turns"]
        out = [
            Leg(
                sign * v[f"T1 {w} turns"] / primary,
                laws.ValvePlate(types["5V4G"]["perveance"], limit, v[f"T1 {w} ohms"] + v["C1 esr_ohms"]),
                0,
            )
            for w, sign in (("ht a", 1), ("ht b", -1))
        ]
        ohms = v["T1 bias ohms"] + v["D1 series_ohms"] + v["C4 esr_ohms"]
        return [*out, Leg(-v["T1 bias turns"] / primary, laws.Silicon(SLOPE, START, ohms), 2, -1.0)]

    def solved(ht1: float, heaters: list[float]) -> Mapping[str, float]:
        return board(v, types, ht1, raw[0], heaters[0]).solve(guess(ht1, raw[0]))

    def rates(x: Mapping[str, float]) -> object:
        plates = board(v, types, x["HT1"], x["bias raw"], 6.3).out_of("HT1", x)
        choke = (x["HT1"] - x["HT2"]) / v["L1 ohms"]
        rest = plates - choke - x["HT1"] / v["R1 ohms"] - x["HT1"] / v["C1 leak_ohms"]  # what the output plates draw

        def slope(y: np.ndarray, into: list[float]) -> list[float]:
            ht = into[0] - rest - y[1] - y[0] / v["R1 ohms"] - y[0] / v["C1 leak_ohms"]
            along = (y[0] - x["HT2"] - v["L1 ohms"] * y[1]) / v["L1 henries"]
            bias = into[2] - (y[2] - x["bias"]) / v["R4 ohms"] - y[2] / v["C4 leak_ohms"]
            return [ht / v["C1 farads"], along, bias / v["C4 farads"]]

        return slope

    def start(x: Mapping[str, float]) -> list[float]:
        return [x["HT1"], (x["HT1"] - x["HT2"]) / v["L1 ohms"], x["bias raw"]]

    def quiet(cycle: Cycle) -> bool:
        before, raw[0] = raw[0], cycle.mean(cycle.states[2])
        return abs(raw[0] - before) < 1e-4

    x, cycle, side, heaters = agree(v, lines, ("F1", "S1"), 365.0, solved, legs, rates, start, quiet)
    valve = board(v, types, x["HT1"], raw[0], heaters[0]).valves["V3"]
    return dict(x) | {
        "heater": heaters[0], "rect": heaters[1], "bias raw": raw[0],
        "mains amps": primary_rms(side, cycle),
        "HT1 ripple": cycle.rms(cycle.states[0] - x["HT1"]),
        "bias raw ripple": cycle.rms(cycle.states[2] - raw[0]),
        "V3 plate amps": valve.amps(x)["plate"],
    }  # fmt: skip
