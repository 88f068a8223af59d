"""examples/c-sorrel-twenty.toml, written out by hand.

12AX7, ultralinear EL34 pair, cathode bias, silicon bridge, choke.
"""

from collections.abc import Mapping

import numpy as np

from second_solutions import laws
from second_solutions.board import Board, Valve
from second_solutions.supply import CONTACT, HeaterLine, Numbers, agree
from second_solutions.waveform import Leg, primary_rms

GUESS = {"HT2": 375.0, "HT3": 330.0, "lift": 34.0, "V1a plate": 146.0, "V1a cathode": 1.2, "V1b grid": 54.0,
         "V1b cathode": 55.5, "tap": 54.0, "V1b plate": 277.0, "V2 plate": 371.0, "V3 plate": 371.0,
         "T2 screen a": 373.0,
         "T2 screen b": 373.0, "V2 screen": 370.0, "V3 screen": 370.0,
         "V2 cathode": 26.5, "V3 cathode": 26.5}  # fmt: skip
# slope volts and start amps of a 1 A silicon diode (0.65 V at 10 mA, 0.93 V at 1 A: physics notes)
SLOPE, START = 0.0478, 1.24e-8


def board(v: Numbers, types: Mapping[str, laws.Law], ht1: float, heater: float) -> Board:
    b = Board({"HT1": ht1})
    for part, one, two in [
        ("R1", "HT1", "chassis"), ("L1", "HT1", "HT2"), ("R2", "HT2", "HT3"), ("R3", "HT2", "lift"),
        ("R4", "lift", "chassis"),
        ("R5", "in", "chassis"), ("R6", "in", "V1a grid"), ("R7", "V1a cathode", "chassis"), ("R8", "HT3", "V1a plate"),
        ("R9", "V1b grid", "tap"), ("R10", "V1b cathode", "tap"), ("R11", "tap", "chassis"),
        ("R12", "HT3", "V1b plate"),
        ("R13", "V2 grid", "chassis"), ("R14", "V2 cathode", "chassis"), ("R15", "T2 screen a", "V2 screen"),
        ("R16", "V3 grid", "chassis"), ("R17", "V3 cathode", "chassis"), ("R18", "T2 screen b", "V3 screen"),
        ("R19", "T2 8", "V1a cathode"), ("T2 plate a", "V2 plate", "T2 screen a"),
        ("T2 screen a", "T2 screen a", "HT2"),
        ("T2 screen b", "HT2", "T2 screen b"), ("T2 plate b", "T2 screen b", "V3 plate"),
        ("T2 secondary 4", "T2 4", "chassis"),
        ("T2 secondary 8", "T2 8", "T2 4"), ("LS", "T2 8", "chassis"),
    ]:  # fmt: skip
        b.r(one, two, v[f"{part} ohms"])
    for part, plus, minus in [
        ("C2", "HT1", "chassis"), ("C3", "HT2", "chassis"), ("C4", "HT3", "chassis"), ("C5", "lift", "chassis"),
        ("C6", "V1a plate", "V1b grid"), ("C7", "V1b cathode", "V2 grid"), ("C8", "V2 cathode", "chassis"),
        ("C9", "V1b plate", "V3 grid"), ("C10", "V3 cathode", "chassis"),
    ]:  # fmt: skip
        b.r(plus, minus, v[f"{part} leak_ohms"])
    b.r("in", "chassis", CONTACT)  # the input is shorted
    for valve in ("V1a", "V1b", "V2", "V3"):  # the heater line stands at the divider's volts
        b.r(f"{valve} cathode", "lift", v[f"{valve} hk_leak_ohms"])
    for valve, kind, screen in [
        ("V1a", "12AX7", ""),
        ("V1b", "12AX7", ""),
        ("V2", "EL34", "V2 screen"),
        ("V3", "EL34", "V3 screen"),
    ]:
        limit = laws.emission(types[kind]["cathode amps"], heater / 6.3)
        b.valves[valve] = Valve(types[kind], f"{valve} plate", f"{valve} grid", f"{valve} cathode", screen, limit)
    return b


def solve(v: Numbers, types: Mapping[str, laws.Law]) -> dict[str, float]:
    """Dc volts by joint; "heater" volts rms, "mains amps", "HT1 ripple" rms, "V2 plate amps"."""
    heaters = [(6.3, 2 * v["V1 heater amps"]), (6.3, v["V2 heater amps"]), (6.3, v["V3 heater amps"])]
    line = HeaterLine(("heat a", "heat b"), heaters)  # V1's halves lie in parallel: 0.15 A a half

    def legs(_: list[float]) -> list[Leg]:
        def pair(one: str, two: str) -> laws.Silicon:
            ohms = v["T1 ht ohms"] + v[f"{one} series_ohms"] + v[f"{two} series_ohms"] + v["C2 esr_ohms"] + v["W1 ohms"]
            return laws.Silicon(SLOPE, START, ohms, 2)

        ratio = v["T1 ht turns"] / v["T1 primary turns"]
        return [Leg(ratio, pair("D1", "D4"), 0), Leg(-ratio, pair("D2", "D3"), 0)]

    def rates(x: Mapping[str, float]) -> object:
        def slope(y: np.ndarray, into: list[float]) -> list[float]:
            out = y[1] + y[0] / v["R1 ohms"] + y[0] / v["C2 leak_ohms"]
            choke = (y[0] - x["HT2"] - v["L1 ohms"] * y[1]) / v["L1 henries"]
            return [(into[0] - out) / v["C2 farads"], choke]

        return slope

    x, cycle, side, after = agree(
        v, [line], ("F1", "S1"), 380.0, lambda ht1, h: board(v, types, ht1, h[0]).solve(GUESS), legs, rates,
        lambda x: [x["HT1"], (x["HT1"] - x["HT2"]) / v["L1 ohms"]],
    )  # fmt: skip
    valve = board(v, types, x["HT1"], after[0]).valves["V2"]
    return dict(x) | {
        "heater": after[0],
        "mains amps": primary_rms(side, cycle),
        "HT1 ripple": cycle.rms(cycle.states[0] - x["HT1"]),
        "V2 plate amps": valve.amps(x)["plate"],
    }
