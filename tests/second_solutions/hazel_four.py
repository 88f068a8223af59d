"""examples/b-hazel-four.toml, written out by hand: EF86 into EL84, cathode bias, EZ80 into 50 uF."""

from collections.abc import Mapping

import numpy as np

from second_solutions import laws
from second_solutions.board import Board, Valve
from second_solutions.supply import HeaterLine, Numbers, agree
from second_solutions.waveform import Leg, primary_rms

GUESS = {"HT2": 275.0, "HT3": 250.0, "V1 plate": 100.0, "V1 screen": 95.0, "V1 cathode": 2.1, "V2 plate": 262.0,
         "V2 screen": 274.0, "V2 cathode": 8.5}  # fmt: skip


def board(v: Numbers, types: Mapping[str, laws.Law], ht1: float, heater: float) -> Board:
    b = Board({"HT1": ht1})
    for part, one, two in [
        ("R1", "HT1", "HT2"), ("R2", "HT2", "HT3"), ("R3", "HT1", "chassis"), ("R4", "volume", "V1 grid"),
        ("R5", "volume", "chassis"), ("R6", "HT3", "V1 plate"), ("R7", "HT3", "V1 screen"),
        ("R8", "V1 cathode", "foot"),
        ("R9", "foot", "chassis"), ("R10", "drive", "chassis"), ("R11", "drive", "V2 grid"),
        ("R12", "V2 cathode", "chassis"),
        ("R13", "HT2", "V2 screen"), ("R14", "T2 8", "foot"), ("T2 plate a", "V2 plate", "HT2"),
        ("T2 secondary 8", "T2 8", "chassis"), ("LS", "T2 8", "chassis"),
    ]:  # fmt: skip
        b.r(one, two, v[f"{part} ohms"])
    for part, plus, minus in [
        ("C1a", "HT1", "chassis"), ("C1b", "HT2", "chassis"), ("C2", "HT3", "chassis"), ("C3", "V1 screen", "chassis"),
        ("C4", "V1 cathode", "foot"), ("C5", "V1 plate", "drive"), ("C6", "V2 cathode", "chassis"),
    ]:  # fmt: skip
        b.r(plus, minus, v[f"{part} leak_ohms"])
    b.r("volume", "chassis", v["P1 wiper_ohms"])  # full up, the input shorted
    for valve in ("V1", "V2"):
        b.r(f"{valve} cathode", "chassis", v[f"{valve} hk_leak_ohms"])
    for valve, kind in (("V1", "EF86"), ("V2", "EL84")):
        limit = laws.emission(types[kind]["cathode amps"], heater / 6.3)
        b.valves[valve] = Valve(
            types[kind], f"{valve} plate", f"{valve} grid", f"{valve} cathode", f"{valve} screen", limit
        )
    return b


def solve(v: Numbers, types: Mapping[str, laws.Law]) -> dict[str, float]:
    """Dc volts by joint; "heater" volts rms, "mains amps", "HT1 ripple" rms, "V2 plate amps", "ht a" amps rms."""
    line = HeaterLine(("heat a", "heat b"), [(6.3, v[f"{valve} heater amps"]) for valve in ("V1", "V2", "V3")])

    def legs(heaters: list[float]) -> list[Leg]:
        limit = laws.emission(types["EZ80"]["rated_amps"], heaters[0] / 6.3)
        return [
            Leg(
                sign * v[f"T1 {w} turns"] / v["T1 primary turns"],
                laws.ValvePlate(types["EZ80"]["perveance"], limit, v[f"T1 {w} ohms"] + v["C1a esr_ohms"]),
                0,
            )
            for w, sign in (("ht a", 1), ("ht b", -1))
        ]

    def rates(x: Mapping[str, float]) -> object:
        def slope(y: np.ndarray, into: list[float]) -> list[float]:
            out = (y[0] - x["HT2"]) / v["R1 ohms"] + y[0] / v["R3 ohms"] + y[0] / v["C1a leak_ohms"]
            return [(into[0] - out) / v["C1a farads"]]

        return slope

    x, cycle, side, heaters = agree(
        v, [line], ("F1", "S1"), 290.0,
        lambda ht1, h: board(v, types, ht1, h[0]).solve(GUESS), legs, rates, lambda x: [x["HT1"]],
    )  # fmt: skip
    valve = board(v, types, x["HT1"], heaters[0]).valves["V2"]
    return dict(x) | {
        "heater": heaters[0],
        "mains amps": primary_rms(side, cycle),
        "HT1 ripple": cycle.rms(cycle.states[0] - x["HT1"]),
        "V2 plate amps": valve.amps(x)["plate"],
        "ht a": cycle.rms(cycle.legs[0]),
    }
