"""Random amplifiers by kind, for the safety walk: every choice of LADDER 6 that a hand-built amplifier can show.

Invented scenarios. Nothing here is a check value: the walk looks at order, contact, ratings and dials only.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass

from builders import Builder
from firstglow.amplifier.model import Amplifier, IdleTarget, Quantity
from winding_builders import primary, push_pull_windings, single_ended_windings, tapped, turned, winding

POWER = {
    "6V6GT": (8e3, 0.02, 18.0),
    "EL84": (8e3, 0.022, 12.0),
    "6L6GC": (6.6e3, 0.035, 40.0),
    "EL34": (5e3, 0.04, 45.0),
}


@dataclass(frozen=True)
class Choice:
    """One topology."""

    channels: int
    rectifier: str  # "joined", "separate", "direct", "silicon", "bridge", "doubler"
    choke_input: bool
    output: str  # "push-pull", "single-ended"
    valve: str
    connection: str  # "pentode", "ultralinear", "strapped"
    bias: str  # "fixed", "fixed one pot", "fixed no pot", "cathode", "cathode shared", "mixed", "back"
    loop: str  # "none", "lifts", "fixed"
    heaters: str  # "tap", "lifted", "hum pot"
    standby: bool
    front: str  # "split load", "long-tailed pair", "capacitors"
    weak_capacitor: bool
    earth: bool
    mains: float


def choose(rng: random.Random) -> Choice:
    """One at random; combinations that nobody builds are steered to their neighbour."""
    output = rng.choice(["push-pull", "push-pull", "single-ended"])
    bias = rng.choice(["fixed", "fixed one pot", "fixed no pot", "cathode", "cathode shared", "mixed", "back"])
    rectifier = rng.choice(["joined", "separate", "direct", "silicon", "bridge", "doubler"])
    if output == "single-ended" and bias == "cathode shared":
        bias = "cathode"
    return Choice(
        rng.choice([1, 1, 2]), rectifier, rectifier != "doubler" and rng.random() < 0.2, output,
        rng.choice(list(POWER)), rng.choice(["pentode", "pentode", "ultralinear", "strapped"]), bias,
        rng.choice(["none", "lifts", "lifts", "fixed"]), rng.choice(["tap", "tap", "lifted", "hum pot"]),
        rng.random() < 0.2, rng.choice(["split load", "long-tailed pair", "capacitors"]), rng.random() < 0.2,
        rng.random() < 0.9, rng.choice([120.0, 230.0]),
    )  # fmt: skip


PLAIN = Choice(
    1,
    "joined",
    False,
    "push-pull",
    "6V6GT",
    "pentode",
    "fixed",
    "lifts",
    "tap",
    False,
    "split load",
    False,
    True,
    230.0,
)


def topology(seed: int) -> tuple[Choice, Amplifier]:
    """A choice and its amplifier."""
    rng = random.Random(seed)  # noqa: S311 (a reproducible choice, no secret)
    choice = choose(rng)
    return choice, build(choice, f"Topology {seed}")


def build(c: Choice, name: str, spoil: Callable[[Builder], None] | None = None) -> Amplifier:
    """The amplifier of a choice; ``spoil`` changes its parts before it is frozen."""
    channels = ("left", "right") if c.channels == 2 else ()
    b = Builder(name, c.mains, 50.0 if c.mains > 200 else 60.0, channels)
    b.mains_side(earth=c.earth)
    _transformer(b, c)
    rail = _supply(b, c)
    _bias_supply(b, c)
    for prefix in [f"{ch} " for ch in channels] or [""]:
        _channel(b, c, prefix, rail)
    if spoil is not None:
        spoil(b)
    return b.build()


def _transformer(b: Builder, c: Choice) -> None:
    ground = {} if c.heaters != "tap" else {"heat ct": "chassis"}
    sides = [primary(c.mains, 8.0), *tapped("heat", 3.3, 0.02, 8.0)]
    volts = 320.0 if c.valve in ("6L6GC", "EL34") else 275.0
    joints = dict(ground)
    if c.rectifier in ("bridge", "doubler"):
        sides.append(winding("ht", "ht 1", "ht 2", volts if c.rectifier == "bridge" else volts / 2, 40.0, 0.3))
    else:
        sides += tapped("ht", volts, 50.0, 0.2)
        joints["ht ct"] = "HT minus" if c.bias == "back" else "chassis"
    if c.rectifier in ("joined", "direct"):
        sides.append(winding("rect", "rect 1", "rect 2", 5.3, 0.05, 3.0))
        joints["rect 1"] = "HT raw"
    if c.bias in ("fixed", "fixed one pot", "fixed no pot", "mixed"):
        sides.append(winding("bias", "bias 1", "bias 2", 55.0, 30.0, 0.05))
        joints["bias 2"] = "chassis"
    if c.heaters == "lifted":
        joints["heat ct"] = "lift"
    b.transformer("T1", tuple(sides), joints, magnetising_amps=0.08, core_loss_watts=6.0)


def _supply(b: Builder, c: Choice) -> str:
    """Rectifier to the last common node; returns the joint that feeds the output stage."""
    minus = "HT minus" if c.bias == "back" else "chassis"
    raw = "HT raw"
    if c.rectifier in ("joined", "direct", "separate"):
        kind = {"joined": "5V4G", "direct": "5U4G", "separate": "EZ81"}[c.rectifier]
        b.rectifier("V9", kind, "T1 ht 1", "T1 ht 2", raw)
        if c.rectifier == "separate":
            b.heater("V9", kind, "T1 heat 1", "T1 heat 2")
        else:
            b.heater("V9", kind, raw, "T1 rect 2")
    elif c.rectifier == "silicon":
        b.diode("D1", "T1 ht 1", raw)
        b.diode("D2", "T1 ht 2", raw)
    elif c.rectifier == "bridge":
        b.diode("D1", "T1 ht 1", raw)
        b.diode("D2", "T1 ht 2", raw)
        b.diode("D3", minus, "T1 ht 1")
        b.diode("D4", minus, "T1 ht 2")
    else:
        b.diode("D1", "T1 ht 1", raw)
        b.diode("D2", minus, "T1 ht 1")
        b.capacitor("C21", raw, "T1 ht 2", 100e-6, 350.0)
        b.capacitor("C22", "T1 ht 2", minus, 100e-6, 350.0)
        b.resistor("R91", raw, "T1 ht 2", 220e3, watts=2.0)
        b.resistor("R92", "T1 ht 2", minus, 220e3, watts=2.0)
    first = raw
    if c.choke_input:
        first = "HT0"
        b.choke("L2", raw, first, 8.0, 120.0)
    if c.rectifier != "doubler":
        b.capacitor("C20", first, minus, 33e-6, 550.0)
    b.resistor("R93", first, minus, 220e3, watts=2.0)
    if c.bias == "back":
        b.resistor("R94", minus, "chassis", 220.0, watts=5.0)
        b.capacitor("C24", "chassis", minus, 100e-6, 100.0)
    if c.standby:
        b.switch("S2", first, "HT on", "standby")
        first = "HT on"
    b.choke("L1", first, "HT1", 5.0, 90.0)
    b.capacitor("C23", "HT1", "chassis", 47e-6, 550.0)
    if c.heaters == "lifted":
        b.resistor("R95", "HT1", "lift", 330e3, watts=1.0)
        b.resistor("R96", "lift", "chassis", 33e3)
        b.capacitor("C25", "lift", "chassis", 22e-6, 100.0)
    if c.heaters == "hum pot":
        b.pot("P9", "T1 heat 1", "chassis", "T1 heat 2", 100.0)
    return "HT1"


def _bias_supply(b: Builder, c: Choice) -> None:
    if c.bias not in ("fixed", "fixed one pot", "fixed no pot", "mixed"):
        return
    b.diode("D9", "bias raw", "T1 bias 1")
    b.capacitor("C30", "chassis", "bias raw", 47e-6, 100.0)
    b.resistor("R30", "bias raw", "bias", 2.2e3)
    b.capacitor("C31", "chassis", "bias", 47e-6, 100.0)
    if c.bias == "fixed one pot":
        b.pot("P8", "bias", "bias set", "bias foot", 25e3, position=0.0)
        b.resistor("R31", "bias foot", "chassis", 33e3)
    if c.bias == "fixed no pot":
        b.resistor("R32", "bias", "chassis", 100e3)


def _channel(b: Builder, c: Choice, p: str, rail: str) -> None:
    weak = 300.0 if c.weak_capacitor else 550.0
    b.resistor(f"{p}R1", rail, f"{p}HT2", 15e3, watts=2.0)
    b.capacitor(f"{p}C1", f"{p}HT2", "chassis", 22e-6, weak)
    b.input(f"{p}V1 grid", f"{p}input")
    b.resistor(f"{p}R2", f"{p}V1 grid", "chassis", 1e6)
    drives = _front(b, c, p)
    plates = ["a", "b"] if c.output == "push-pull" else ["a"]
    raa, idle, _ = POWER[c.valve]
    for n, half in enumerate(plates):
        valve = f"{p}V{3 + n}"
        _output(b, c, p, valve, half, drives[n], rail, idle, n)
    tap = 0.43 if c.connection == "ultralinear" and c.output == "push-pull" else 0.0
    windings = push_pull_windings(raa, screen_tap=tap) if len(plates) == 2 else single_ended_windings(raa / 2)
    if c.loop != "none":
        # every front turns the signal over once after V1a's plate and the valve on half a does it again: plate a rises
        # with V1's cathode, so the hot end must follow plate b
        windings = turned(windings)
    joints = {"centre": rail, "common": "chassis", "8": f"{p}hot"}
    b.output_transformer(f"{p}T2", windings, joints, raa_ohms=raa)
    b.load(f"{p}hot", "chassis", name=f"{p}loudspeaker")
    if c.loop != "none":
        link = "feedback" if c.loop == "lifts" else ""
        b.resistor(f"{p}R9", f"{p}hot", f"{p}V1 cathode", 22e3, link=link, tie="chassis" if link else None)


def _front(b: Builder, c: Choice, p: str) -> list[str]:
    """Small valves; returns the joints that drive the output grids."""
    heat = ("T1 heat 1", "T1 heat 1", "T1 heat 2")
    b.triode(f"{p}V1a", "12AX7", f"{p}V1 plate", f"{p}V1 grid", f"{p}V1 cathode", f"{p}V1")
    b.resistor(f"{p}R3", f"{p}HT2", f"{p}V1 plate", 100e3)
    b.resistor(f"{p}R4", f"{p}V1 cathode", "chassis", 1.5e3)
    if c.output == "single-ended":
        b.triode(f"{p}V1b", "12AX7", f"{p}V1b plate", f"{p}V1b grid", f"{p}V1b cathode", f"{p}V1")
        b.capacitor(f"{p}C2", f"{p}V1 plate", f"{p}V1b grid", 22e-9, 630.0, "film")
        b.resistor(f"{p}R5", f"{p}V1b grid", "chassis", 1e6)
        b.resistor(f"{p}R6", f"{p}HT2", f"{p}V1b plate", 100e3)
        b.resistor(f"{p}R7", f"{p}V1b cathode", "chassis", 1.5e3)
        b.heater(f"{p}V1", "12AX7", *heat)
        return [f"{p}V1b plate"]
    if c.front == "split load":
        b.triode(f"{p}V1b", "12AX7", f"{p}V1b plate", f"{p}V1 plate", f"{p}V1b cathode", f"{p}V1")
        b.resistor(f"{p}R6", f"{p}HT2", f"{p}V1b plate", 56e3, watts=1.0)
        b.resistor(f"{p}R7", f"{p}V1b cathode", "chassis", 56e3, watts=1.0)
        b.heater(f"{p}V1", "12AX7", *heat)
        return [f"{p}V1b plate", f"{p}V1b cathode"]
    b.heater(f"{p}V1", "12AX7", *heat)
    first = f"{p}V1 plate" if c.front == "long-tailed pair" else f"{p}V2 drive"
    if c.front == "capacitors":
        b.capacitor(f"{p}C2", f"{p}V1 plate", first, 22e-9, 630.0, "film")
        b.resistor(f"{p}R5", first, "chassis", 1e6)
    b.triode(f"{p}V2a", "12AT7", f"{p}V2a plate", first, f"{p}V2 cathode", f"{p}V2")
    b.triode(f"{p}V2b", "12AT7", f"{p}V2b plate", f"{p}V2b grid", f"{p}V2 cathode", f"{p}V2")
    b.resistor(f"{p}R11", first, f"{p}V2b grid", 1e6)
    b.capacitor(f"{p}C3", f"{p}V2b grid", "chassis", 0.1e-6, 400.0, "film")
    b.resistor(f"{p}R12", f"{p}V2 cathode", "chassis", 22e3 if c.front == "long-tailed pair" else 1e3, watts=1.0)
    b.resistor(f"{p}R13", f"{p}HT2", f"{p}V2a plate", 47e3, watts=1.0)
    b.resistor(f"{p}R14", f"{p}HT2", f"{p}V2b plate", 47e3, watts=1.0)
    b.heater(f"{p}V2", "12AT7", *heat)
    return [f"{p}V2a plate", f"{p}V2b plate"]


def _output(b: Builder, c: Choice, p: str, valve: str, half: str, drive: str, rail: str, idle: float, n: int) -> None:
    grid, cathode, screen, plate = (f"{valve} {e}" for e in ("grid", "cathode", "screen", "plate"))
    plate = f"{p}T2 plate {half}"
    home = "chassis"
    if c.bias == "fixed" or c.bias == "mixed":
        b.pot(f"{p}P{n + 1}", "bias", f"{valve} bias", f"{p}foot {n}", 25e3, position=0.0)
        b.resistor(f"{p}R{40 + n}", f"{p}foot {n}", "chassis", 33e3)
        home = f"{valve} bias"
    elif c.bias == "fixed one pot":
        home = "bias set"
    elif c.bias == "fixed no pot":
        home = "bias"
    elif c.bias == "back":
        home = "HT minus"
    b.capacitor(f"{p}C{10 + n}", drive, grid, 0.1e-6, 630.0, "film")
    b.resistor(f"{p}R{50 + n}", grid, home, 220e3)
    if c.connection == "strapped":
        b.resistor(f"{p}R{60 + n}", plate, screen, 100.0)
    elif c.connection == "ultralinear" and c.output == "push-pull":
        b.resistor(f"{p}R{60 + n}", f"{p}T2 screen {half}", screen, 100.0)
    else:
        b.resistor(f"{p}R{60 + n}", rail, screen, 470.0, watts=2.0)
    b.pentode(valve, c.valve, plate, grid, cathode, screen)
    b.heater(valve, c.valve, "T1 heat 1", "T1 heat 2")
    if c.bias in ("cathode", "mixed"):
        b.resistor(f"{p}R{70 + n}", cathode, "chassis", 300.0 if c.bias == "cathode" else 150.0, watts=5.0)
        b.capacitor(f"{p}C{40 + n}", cathode, "chassis", 100e-6, 63.0)
    elif c.bias == "cathode shared":
        b.wire(f"{p}W{n}", cathode, f"{p}cathodes")
        if n == 0:
            b.resistor(f"{p}R70", f"{p}cathodes", "chassis", 150.0, watts=5.0)
            b.capacitor(f"{p}C40", f"{p}cathodes", "chassis", 100e-6, 63.0)
    else:
        b.resistor(f"{p}R{80 + n}", cathode, "chassis", 10.0, test=True)
    if c.bias.startswith("fixed") or c.bias in ("mixed", "back"):
        pot = f"{p}P{n + 1}" if c.bias in ("fixed", "mixed") else "P8" if c.bias == "fixed one pot" else None
        b.idle[valve] = IdleTarget(valve, Quantity(idle), pot=pot)
