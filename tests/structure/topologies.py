"""Random amplifiers, each with the plan it was built from: what the structure must say of it.

``topology(seed)`` -> (Plan, Amplifier). Invented scenarios: only structure matters, no value here is a check value.
"""

import random
from dataclasses import dataclass, replace

from builders import Builder
from firstglow.amplifier.model import Amplifier, IdleTarget, Quantity
from structure.topology_supplies import (
    HEATER_WAYS,
    SupplyPlan,
    build_bias,
    build_dc_heaters,
    build_heaters,
    build_ht,
    choose_bias,
    choose_ht,
    rect_joint,
    transformer,
)
from winding_builders import push_pull_windings, single_ended_windings, turned, winding

PENTODES = ("6V6GT", "6L6GC", "EL84", "EL34", "KT88")


@dataclass(frozen=True)
class Plan:
    """One random amplifier.

    output: "push-pull", "parallel", "single-ended". connection: as OutputValve.connection. bias: as OutputValve.bias.
    cathode: "own", "shared", "sense and shared" (bias made in the cathodes), "sense", "shared sense", "grounded".
    bias_way: see topology_supplies.choose_bias, None without a negative supply.
    pots: "own", "balance", "common", "none".
    follower: cathode followers on the output grids.
    front: "split load", "split load coupled", "pair", "pair coupled", "pentode pair", "single".
    loop: "none", "lifts", "fixed", "foot", "plate", "cathode winding". heaters: see topology_supplies.HEATER_WAYS.
    dc: small valves on rectified heaters; series_heaters: on 12.6 V, end to end. glow: a gas tube holds the screens.
    stopper: at each output grid. volume: a pot ahead of the first grid.
    """

    seed: int
    channels: int
    ht: SupplyPlan
    output: str
    valve: str
    connection: str
    bias: str
    cathode: str
    bias_way: str | None
    bias_kind: str
    pots: str
    follower: bool
    front: str
    loop: str
    heaters: str
    dc: bool
    series_heaters: bool
    glow: bool
    stopper: bool
    volume: bool


def choose(seed: int) -> Plan:
    """A plan at random; combinations nobody builds are steered to a neighbour."""
    rng = random.Random(seed)  # noqa: S311 (a reproducible choice, no secret)
    output = rng.choice(["push-pull", "push-pull", "push-pull", "parallel", "single-ended"])
    bias = rng.choice(["fixed", "fixed", "fixed", "cathode", "cathode", "mixed", "back"])
    ht = choose_ht(rng, bias == "back")
    negative = bias in {"fixed", "mixed"}
    connection = rng.choice(["pentode", "pentode", "ultralinear", "triode strapped", "triode"])
    cathode = rng.choice(
        ["own", "shared", "sense and shared"]
        if bias in {"cathode", "mixed"}
        else ["sense", "sense", "shared sense", "grounded"]
    )
    follower = negative and bias == "fixed" and rng.random() < 0.2
    pots = rng.choice(["own", "own", "balance", "common", "none"]) if negative else "none"
    if output != "push-pull" and pots == "balance":
        pots = "own"
    front = (
        "single"
        if output == "single-ended"
        else rng.choice(["split load", "split load coupled", "pair", "pair coupled", "pentode pair"])
    )
    loops = ["none", "lifts", "lifts", "fixed", "foot", "plate", "cathode winding"]
    loop = rng.choice(
        loops if output == "push-pull" and cathode not in {"shared", "sense and shared", "shared sense"} else loops[:6]
    )
    if connection == "triode":
        valve = "2A3" if rng.random() < 0.4 and cathode in {"own", "grounded"} and not follower else "6L6GC"
    else:
        valve = rng.choice(PENTODES)
    if valve == "2A3":
        loop = "none" if loop == "cathode winding" else loop
        output = "push-pull" if output == "parallel" else output
    elif connection == "triode":
        connection = "triode strapped"
    return Plan(
        seed=seed,
        channels=rng.choice([1, 1, 2]),
        ht=ht,
        output=output,
        valve=valve,
        connection=connection,
        bias=bias,
        cathode=cathode,
        bias_way=choose_bias(rng, ht) if negative else None,
        bias_kind=rng.choice(["silicon", "selenium"]),
        pots=pots,
        follower=follower,
        front=front,
        loop=loop,
        heaters=rng.choice(HEATER_WAYS),
        dc=rng.random() < 0.2,
        series_heaters=rng.random() < 0.15,
        glow=connection == "pentode" and rng.random() < 0.15,
        stopper=rng.random() < 0.8,
        volume=rng.random() < 0.5,
    )


def topology(seed: int) -> tuple[Plan, Amplifier]:
    """The plan of a seed and its amplifier."""
    plan = choose(seed)
    return plan, build(plan)


def build(plan: Plan) -> Amplifier:
    """The amplifier of a plan."""
    channels = ("left", "right") if plan.channels == 2 else ()
    b = Builder(f"Topology {plan.seed}", channels=channels)
    b.mains_side()
    joints = build_ht(b, plan.ht, heat_end(plan)) | rect_joint(plan.ht) | build_heaters(b, plan.heaters)
    if plan.bias_way:
        joints |= build_bias(b, plan.bias_way, plan.bias_kind)
    elif plan.bias == "back":
        b.resistor("R4", "HT minus", "bias", 100e3)
        b.capacitor("C6", "chassis", "bias", 22e-6, 63.0)
    if plan.dc:
        joints |= build_dc_heaters(b)
    if plan.series_heaters and not plan.dc:
        joints |= {"twelve 2": "chassis"}
    transformer(b, plan.ht, plan.bias_way, "dc" if plan.dc else "twelve" if plan.series_heaters else "", joints)
    if plan.valve == "2A3":  # one filament winding a valve
        filaments = [w for p in _output_names(plan) for w in _filament(p)]
        t1 = b.parts.pop("T1")
        b.transformer(
            "T1",
            (*t1.windings, *filaments),
            {k: v for k, v in t1.leads.items() if k in {x for w in t1.windings for x in (w.start, w.end)}},
        )
    b.resistor("R1", "HT1", "HT2", 470.0, watts=5.0)
    b.capacitor("C2", "HT2", "chassis", 47e-6, 500.0)
    b.resistor("R2", "HT2", "HT3", 15e3, watts=2.0)
    b.capacitor("C3", "HT3", "chassis", 22e-6, 500.0)
    b.resistor("R3", "HT1", "chassis", 330e3, watts=2.0)
    if plan.glow:
        b.resistor("RG", "HT1", "screens", 4.7e3, watts=10.0)
        b.add("VG", "gas tube", {"anode": "screens", "cathode": "chassis"}, "0A2")
    for channel in channels or ("",):
        _channel(b, plan, f"{channel} " if channel else "")
    return b.build()


def heat_end(plan: Plan) -> str:
    """The far side of the 6.3 V line."""
    return "chassis" if plan.heaters == "one side" else "T1 heat 2"


def _output_names(plan: Plan) -> list[str]:
    """Output valves of all channels."""
    prefixes = ("left ", "right ") if plan.channels == 2 else ("",)
    return [f"{c}{v}" for c in prefixes for v, _ in valves_of(plan)]


def valves_of(plan: Plan) -> list[tuple[str, str]]:
    """(name, half) of one channel's output valves."""
    if plan.output == "single-ended":
        return [("V3", "a")]
    pair = [("V3", "a"), ("V4", "b")]
    return pair if plan.output == "push-pull" else [*pair, ("V5", "a"), ("V6", "b")]


def _filament(valve: str) -> tuple:
    name = valve.replace(" ", "-")
    return (winding(f"fil {name}", f"fil {name} 1", f"fil {name} 2", 2.65, 0.02, 2.5),)


def _channel(b: Builder, plan: Plan, c: str) -> None:
    """One channel, every name with the channel in front."""
    drives = _front(b, plan, c)
    _outputs(b, plan, c, drives)
    _output_transformer(b, plan, c)
    _loop(b, plan, c)


def _small(b: Builder, plan: Plan, envelope: str, what: str) -> None:
    """The heater of a small double triode."""
    if plan.dc:
        b.heater(envelope, what, "dc heat", "dc heat", "chassis")
    elif plan.series_heaters:
        b.heater(envelope, what, "T1 twelve 1", "chassis")
    else:
        b.heater(envelope, what, "T1 heat 1", "T1 heat 1", heat_end(plan))


def _front(b: Builder, plan: Plan, c: str) -> list[str]:
    """Input to phase splitter; returns the joints that drive the a and the b grids."""
    b.input(f"{c}in", f"{c}J1")
    grid = f"{c}V1a grid"
    if plan.volume:
        b.pot(f"{c}PV", "chassis", grid, f"{c}in", 500e3)
    else:
        b.resistor(f"{c}R10", f"{c}in", "chassis", 1e6)
        b.resistor(f"{c}R11", f"{c}in", grid, 10e3)
    if plan.front == "pentode pair":
        b.pentode(f"{c}V1a", "EF86", f"{c}V1a plate", grid, f"{c}V1a cathode", f"{c}V1a screen", f"{c}V1a cathode")
        b.parts[f"{c}V1a"] = replace(b.parts[f"{c}V1a"], envelope=f"{c}V1")
        b.resistor(f"{c}R12", "HT3", f"{c}V1a screen", 1e6)
        b.capacitor(f"{c}C12", f"{c}V1a screen", "chassis", 0.47e-6, 400.0, "film")
        ends = ("dc heat", "chassis") if plan.dc else ("T1 heat 1", heat_end(plan))
        b.heater(f"{c}V1", "EF86", *ends)
    else:
        b.triode(f"{c}V1a", "12AX7", f"{c}V1a plate", grid, f"{c}V1a cathode", f"{c}V1")
        _small(b, plan, f"{c}V1", "12AX7")
    b.resistor(f"{c}R13", "HT3", f"{c}V1a plate", 220e3)
    foot = f"{c}foot" if plan.loop == "foot" else "chassis"
    b.resistor(f"{c}R14", f"{c}V1a cathode", foot, 1.5e3)
    if plan.loop == "foot":
        b.resistor(f"{c}R15", foot, "chassis", 100.0)
        b.capacitor(f"{c}C10", f"{c}V1a cathode", foot, 47e-6, 25.0)
    if plan.front == "single":
        b.triode(f"{c}V1b", "12AX7", f"{c}V1b plate", f"{c}V1b grid", f"{c}V1b cathode", f"{c}V1")
        b.capacitor(f"{c}C11", f"{c}V1a plate", f"{c}V1b grid", 22e-9, 400.0, "film")
        b.resistor(f"{c}R16", f"{c}V1b grid", "chassis", 1e6)
        b.resistor(f"{c}R17", "HT3", f"{c}V1b plate", 100e3)
        b.resistor(f"{c}R18", f"{c}V1b cathode", "chassis", 1.5e3)
        b.capacitor(f"{c}C13", f"{c}V1b cathode", "chassis", 47e-6, 25.0)
        return [f"{c}V1b plate"]
    return _splitter(b, plan, c)


def _splitter(b: Builder, plan: Plan, c: str) -> list[str]:
    """Split load or long-tailed pair in V2; returns the joints that drive a and b."""
    if plan.front.startswith("split load"):
        direct = plan.front == "split load"
        grid = f"{c}V1a plate" if direct else f"{c}V2a grid"
        b.triode(f"{c}V2a", "12AU7", f"{c}V2a plate", grid, f"{c}V2a cathode", f"{c}V2")
        b.resistor(f"{c}R20", "HT2", f"{c}V2a plate", 47e3)
        if direct:
            b.resistor(f"{c}R21", f"{c}V2a cathode", "chassis", 47e3)
        else:
            b.capacitor(f"{c}C11", f"{c}V1a plate", grid, 22e-9, 400.0, "film")
            b.resistor(f"{c}R22", f"{c}V2a cathode", f"{c}junction", 1.5e3)
            b.resistor(f"{c}R21", f"{c}junction", "chassis", 47e3)
            b.resistor(f"{c}R23", grid, f"{c}junction", 1e6)
        drives = [f"{c}V2a plate", f"{c}V2a cathode"]
    else:
        direct = plan.front != "pair coupled"
        grid = f"{c}V1a plate" if direct else f"{c}V2a grid"
        b.triode(f"{c}V2a", "12AU7", f"{c}V2a plate", grid, f"{c}V2a cathode", f"{c}V2")
        b.triode(f"{c}V2b", "12AU7", f"{c}V2b plate", f"{c}V2b grid", f"{c}V2a cathode", f"{c}V2")
        b.resistor(f"{c}R20", "HT2", f"{c}V2a plate", 47e3)
        b.resistor(f"{c}R24", "HT2", f"{c}V2b plate", 47e3)
        b.capacitor(f"{c}C14", f"{c}V2b grid", "chassis", 0.1e-6, 400.0, "film")
        if direct:
            b.resistor(f"{c}R22", f"{c}V2a cathode", "chassis", 15e3)
            b.resistor(f"{c}R23", grid, f"{c}V2b grid", 1e6)
        else:
            b.capacitor(f"{c}C11", f"{c}V1a plate", grid, 22e-9, 400.0, "film")
            b.resistor(f"{c}R22", f"{c}V2a cathode", f"{c}junction", 1e3)
            b.resistor(f"{c}R21", f"{c}junction", "chassis", 15e3)
            b.resistor(f"{c}R23", grid, f"{c}junction", 1e6)
            b.resistor(f"{c}R25", f"{c}V2b grid", f"{c}junction", 1e6)
        drives = [f"{c}V2a plate", f"{c}V2b plate"]
    if plan.front.startswith("split load"):
        b.triode(f"{c}V2b", "12AU7", "HT3", f"{c}spare grid", f"{c}spare cathode", f"{c}V2")
        b.resistor(f"{c}R26", f"{c}spare grid", "chassis", 1e6)
        b.resistor(f"{c}R27", f"{c}spare cathode", "chassis", 10e3)
    _small(b, plan, f"{c}V2", "12AU7")
    return drives


def _outputs(b: Builder, plan: Plan, c: str, drives: list[str]) -> None:
    """Output valves with their grids, cathodes and screens."""
    if plan.pots == "common":
        b.pot(f"{c}P1", "bias", f"{c}bias node", f"{c}bias foot", 25e3)
        b.resistor(f"{c}R30", f"{c}bias foot", "chassis", 33e3)
    if plan.pots == "balance":
        b.pot(f"{c}P1", "bias", f"{c}level", f"{c}bias foot", 25e3)
        b.resistor(f"{c}R30", f"{c}bias foot", "chassis", 33e3)
        b.pot(f"{c}PB", f"{c}node a", f"{c}level", f"{c}node b", 10e3)
        b.resistor(f"{c}R31", f"{c}node a", "chassis", 100e3)
        b.resistor(f"{c}R32", f"{c}node b", "chassis", 100e3)
    for n, (name, half) in enumerate(valves_of(plan)):
        _output(b, plan, c, name, half, n, drives[0 if half == "a" else 1])
    shared = plan.cathode in {"shared", "sense and shared"}
    if shared:
        b.resistor(f"{c}RK", f"{c}cathodes", "chassis", 130.0, watts=10.0)
        b.capacitor(f"{c}CK", f"{c}cathodes", "chassis", 220e-6, 63.0)
    if plan.cathode == "shared sense":
        b.resistor(f"{c}RK", f"{c}cathodes", "chassis", 10.0, test=True)


def _output(b: Builder, plan: Plan, c: str, name: str, half: str, n: int, source: str) -> None:
    v = f"{c}{name}"
    node = _bias_node(b, plan, c, name, half, n)
    drive = f"{v} drive"
    b.capacitor(f"{c}C2{n}", source, drive, 0.1e-6, 630.0, "film")
    b.resistor(f"{c}R4{n}", drive, node, 220e3)
    grid = drive
    if plan.follower:
        follower = f"{c}V7{'abcd'[n]}"
        b.triode(follower, "12AU7", "HT2", drive, f"{v} follower", f"{c}V{7 + n // 2}")
        if n % 2 == 0:
            b.heater(f"{c}V{7 + n // 2}", "12AU7", "T1 heat 1", "T1 heat 1", heat_end(plan))
        b.resistor(f"{c}R5{n}", f"{v} follower", "bias raw", 47e3)
        grid = f"{v} follower"
    if plan.stopper:
        b.resistor(f"{c}R6{n}", grid, f"{v} grid", 2.2e3)
        grid = f"{v} grid"
    cathode = _cathode(b, plan, c, v, n, half)
    plate = f"{c}T2 plate {half}"
    if plan.valve == "2A3":
        b.triode(v, "2A3", plate, grid, cathode)
    elif plan.connection == "triode strapped":
        b.resistor(f"{c}R7{n}", plate, f"{v} screen", 100.0)
        b.pentode(v, plan.valve, plate, grid, cathode, f"{v} screen")
    elif plan.connection == "ultralinear":
        screen = f"{v} screen" if n % 2 == 0 else f"{c}T2 screen {half}"
        if n % 2 == 0:
            b.resistor(f"{c}R7{n}", f"{c}T2 screen {half}", screen, 100.0)
        b.pentode(v, plan.valve, plate, grid, cathode, screen)
    else:
        b.resistor(f"{c}R7{n}", "screens" if plan.glow else "HT2", f"{v} screen", 470.0, watts=2.0)
        b.pentode(v, plan.valve, plate, grid, cathode, f"{v} screen")
    if plan.valve != "2A3":
        b.heater(v, plan.valve, "T1 heat 1", heat_end(plan))
    b.idle[v] = IdleTarget(v, Quantity(0.03))


def _bias_node(b: Builder, plan: Plan, c: str, name: str, half: str, n: int) -> str:
    """The far end of a grid leak."""
    if plan.bias == "cathode":
        return "chassis"
    if plan.bias == "back" or plan.pots == "none":
        return "bias"
    if plan.pots == "common":
        return f"{c}bias node"
    if plan.pots == "balance":
        return f"{c}node {half}"
    b.pot(f"{c}P1{n}", "bias", f"{c}{name} node", f"{c}{name} foot", 25e3)
    b.resistor(f"{c}R3{n}", f"{c}{name} foot", "chassis", 22e3)
    return f"{c}{name} node"


def _cathode(b: Builder, plan: Plan, c: str, v: str, n: int, half: str) -> str:
    """What is under one output cathode; returns its joint."""
    cathode = f"{v} cathode"
    below = cathode
    if plan.loop == "cathode winding":
        below = f"{c}T2 cathode {half}"
        cathode, below = below, f"{c}T2 cathode {half} end"
    if plan.valve == "2A3":
        name = v.replace(" ", "-")
        b.heater(v, "2A3", f"T1 fil {name} 1", f"T1 fil {name} 2")
        cathode = f"T1 fil {name} 1"
        below = f"{v} centre" if plan.cathode != "grounded" else "chassis"
        b.pot(f"{c}PF{n}", f"T1 fil {name} 1", below, f"T1 fil {name} 2", 30.0)
    if plan.cathode in {"shared", "shared sense"} and plan.loop != "cathode winding" and plan.valve != "2A3":
        return f"{c}cathodes"
    if plan.cathode == "own":
        b.resistor(f"{c}R8{n}", below, "chassis", 270.0, watts=5.0)
        b.capacitor(f"{c}C8{n}", below, "chassis", 220e-6, 63.0)
    elif plan.cathode == "sense":
        b.resistor(f"{c}R8{n}", below, "chassis", 10.0, test=True)
    elif plan.cathode == "sense and shared":
        b.resistor(f"{c}R8{n}", below, f"{c}cathodes", 10.0, test=True)
    elif plan.cathode == "grounded" and below != "chassis":
        if plan.loop == "cathode winding":
            b.wire(f"{c}W8{n}", below, "chassis")
        else:
            return "chassis"
    return cathode


def _output_transformer(b: Builder, plan: Plan, c: str) -> None:
    tap = 0.4 if plan.connection == "ultralinear" else 0.0
    centre = "HT1" if plan.seed % 2 else "HT2"
    if plan.output == "single-ended":
        windings = single_ended_windings(5.2e3)
        if tap:
            windings = tuple(
                w for w in push_pull_windings(5.2e3, screen_tap=tap) if w.name not in {"screen b", "plate b"}
            )
    else:
        windings = push_pull_windings(6.6e3, screen_tap=tap)
    if plan.loop in {"lifts", "fixed", "foot"}:
        # V1a's cathode and plate rise together, the next stage turns that over and the valve on half a once more: plate a
        # rises with the loop's target, so the loudspeaker must follow plate b.
        windings = turned(windings)
    joints = {w: f"{c}T2 {w}" for x in windings for w in (x.start, x.end)}
    joints |= {"centre": centre, "common": "chassis", "8": f"{c}hot"}
    if plan.loop == "cathode winding":
        windings = (
            *windings,
            winding("cathode a", "cathode a", "cathode a end", 3.0, 2.0),
            winding("cathode b", "cathode b end", "cathode b", 3.0, 2.0),
        )
        joints |= {f"cathode {h}{e}": f"{c}T2 cathode {h}{e}" for h in "ab" for e in ("", " end")}
    b.output_transformer(f"{c}T2", windings, joints)
    b.load(f"{c}hot", "chassis", name=f"{c}LS")


def _loop(b: Builder, plan: Plan, c: str) -> None:
    if plan.loop in {"lifts", "fixed", "foot"}:
        target = f"{c}foot" if plan.loop == "foot" else f"{c}V1a cathode"
        b.resistor(f"{c}R90", f"{c}hot", target, 10e3, link="" if plan.loop == "fixed" else "feedback", tie="chassis")
        if plan.seed % 3 == 0:
            b.capacitor(f"{c}C90", f"{c}hot", target, 470e-12, 500.0, "mica")
    elif plan.loop == "plate":
        first = "V1b plate" if plan.front == "single" else "V2a plate"
        b.resistor(f"{c}R91", f"{c}T2 plate a", f"{c}{first}", 470e3)
    b.resistor(f"{c}RZ", f"{c}hot", f"{c}zobel", 10.0)
    b.capacitor(f"{c}CZ", f"{c}zobel", "chassis", 0.1e-6, 250.0, "film")
