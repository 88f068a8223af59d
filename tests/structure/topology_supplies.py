"""Supplies of the random amplifiers: HT in every form, bias from everywhere, heaters referenced every way.

Invented scenarios: only their structure matters, no value here is a check value.
"""

import random
from dataclasses import dataclass

from builders import Builder
from firstglow.amplifier.model import Winding
from winding_builders import primary, tapped, winding

VALVE_RECTIFIERS = {"direct": "5U4G", "joined": "GZ34", "common line": "EZ81", "own cathode": "EZ80"}


@dataclass(frozen=True)
class SupplyPlan:
    """What a supply is built as.

    form: as Supply.form. rectifier: a key of VALVE_RECTIFIERS, "two valves", "valve a leg", "silicon", "selenium",
    "backed" (silicon in series with each valve plate). plate_resistors: one in each plate lead. choke: choke input.
    between: what stands between rectifier and reservoir: "", "fuse", "standby", "link", "resistor". ct_fuse: fuse in
    the centre tap's lead. back: HT minus stands on a resistor; reservoir_to_chassis: its reservoir's minus is on
    chassis all the same.
    """

    form: str
    rectifier: str
    plate_resistors: bool
    choke: bool
    between: str
    ct_fuse: bool
    back: bool
    reservoir_to_chassis: bool
    string: bool

    @property
    def kind(self) -> str:
        """As Supply.kind."""
        return self.rectifier if self.rectifier in {"silicon", "selenium"} else "valve"


def choose_ht(rng: random.Random, back: bool) -> SupplyPlan:
    """One HT supply at random; impossible combinations are steered to a neighbour."""
    rectifier = rng.choice([*VALVE_RECTIFIERS, "two valves", "valve a leg", "backed", "silicon", "silicon", "selenium"])
    solid = rectifier in {"silicon", "selenium"}
    form = rng.choice(["full wave", "full wave", "bridge", "full-wave doubler", "cascade doubler", "half wave"])
    if not solid and form not in {"full wave", "half wave"}:
        form = "full wave"
    if form == "half wave" and rectifier in {"two valves", "valve a leg"}:
        rectifier = "joined"
    doubler = "doubler" in form
    return SupplyPlan(
        form,
        rectifier,
        not solid and rectifier != "backed" and rng.random() < 0.3,
        form in {"full wave", "bridge"} and rng.random() < 0.2,
        "" if doubler else rng.choice(["", "", "fuse", "standby", "link", "resistor"]),
        form == "full wave" and rng.random() < 0.3,
        back,
        back and not doubler and rng.random() < 0.4,
        solid and form == "full wave" and rng.random() < 0.2,
    )


def ht_windings(plan: SupplyPlan, bias: str) -> tuple[Winding, ...]:
    """The HT winding for a plan; with a tap for the bias where it comes from one."""
    if plan.form == "full wave":
        if bias == "tap":
            return (
                winding("ht a", "ht 1", "ht ct", 320.0, 60.0, 0.2),
                winding("ht tap", "ht ct", "ht tap", 50.0, 10.0, 0.2),
                winding("ht b", "ht tap", "ht 2", 270.0, 50.0, 0.2),
            )
        return tapped("ht", 320.0, 60.0, 0.2)
    volts = 160.0 if "doubler" in plan.form else 320.0
    return (winding("ht", "ht 1", "ht 2", volts, 40.0, 0.3),)


def build_ht(b: Builder, plan: SupplyPlan, heat_end: str) -> dict[str, str]:
    """Rectifiers and reservoir; returns the joints the transformer's HT leads stand on. Reservoir joint: HT1."""
    minus = "HT minus" if plan.back else "chassis"
    if plan.back:
        b.resistor("RB", "HT minus", "chassis", 120.0, watts=5.0)
    out = "HT1"
    if plan.choke:
        out = "HT0"
        b.choke("L0", "HT0", "HT1", 8.0, 120.0)
        if plan.between:
            out = _between(b, plan, "HT0")
    elif plan.between:
        out = _between(b, plan, "HT1")
    b.capacitor("C1", "HT1", "chassis" if plan.reservoir_to_chassis else minus, 33e-6, 550.0)
    if plan.form == "full wave":
        joints = {"ht ct": minus}
        if plan.ct_fuse:
            b.fuse("FC", "T1 ht ct", minus, amps=0.5)
            joints = {}
        _rectify(b, plan, {"1": "T1 ht 1", "2": "T1 ht 2"}, out, heat_end)
        return joints
    if plan.form == "half wave":
        _rectify(b, plan, {"1": "T1 ht 1"}, out, heat_end)
        return {"ht 2": minus}
    if plan.form == "bridge":
        for n, (a, c) in enumerate((("T1 ht 1", out), ("T1 ht 2", out), (minus, "T1 ht 1"), (minus, "T1 ht 2"))):
            b.diode(f"DH{n}", a, c, plan.rectifier)
        return {}
    b.diode("DH0", minus, "T1 ht 1" if plan.form == "full-wave doubler" else "pump", plan.rectifier)
    b.diode("DH1", "T1 ht 1" if plan.form == "full-wave doubler" else "pump", "HT1", plan.rectifier)
    if plan.form == "full-wave doubler":
        del b.parts["C1"]
        b.capacitor("C1", "HT1", "middle", 68e-6, 350.0)
        b.capacitor("C1b", "middle", minus, 68e-6, 350.0)
        b.resistor("RE1", "HT1", "middle", 220e3)
        b.resistor("RE2", "middle", minus, 220e3)
        return {"ht 2": "middle"}
    b.capacitor("CP", "pump", "T1 ht 1", 68e-6, 350.0)
    return {"ht 2": minus}


def _between(b: Builder, plan: SupplyPlan, joint: str) -> str:
    """Something between the rectifiers and ``joint``; returns the rectifiers' joint."""
    if plan.between == "fuse":
        b.fuse("FH", "rectified", joint, amps=0.5)
    elif plan.between == "standby":
        b.switch("S2", "rectified", joint, "standby")
    elif plan.between == "link":
        b.wire("WH", "rectified", joint, link="HT link")
    else:
        b.resistor("RH", "rectified", joint, 47.0, watts=5.0)
    return "rectified"


def _rectify(b: Builder, plan: SupplyPlan, ends: dict[str, str], out: str, heat_end: str) -> None:
    """Valves or diodes from the winding's ends to ``out``."""
    kind = plan.rectifier
    if kind in {"silicon", "selenium"}:
        for n, end in ends.items():
            if plan.string:
                b.diode(f"DA{n}", end, f"string {n}", kind)
                b.diode(f"DB{n}", f"string {n}", out, kind)
                for letter, a, c in (("A", end, f"string {n}"), ("B", f"string {n}", out)):
                    b.resistor(f"RS{letter}{n}", a, c, 470e3)
                    b.capacitor(f"CS{letter}{n}", a, c, 10e-9, 1000.0, "film")
            else:
                b.diode(f"DH{n}", end, out, kind)
        return
    at = dict(ends)
    if plan.plate_resistors:
        for n, end in ends.items():
            b.resistor(f"RP{n}", end, f"plate {n}", 75.0, watts=5.0)
            at[n] = f"plate {n}"
    if kind == "backed":
        for n, end in ends.items():
            b.diode(f"DH{n}", end, f"plate {n}")
            at[n] = f"plate {n}"
    names = {"two valves": ("VR", "VS"), "valve a leg": ("VR", "VS")}.get(kind, ("VR",))
    what = VALVE_RECTIFIERS.get(kind, "GZ34")
    for i, name in enumerate(names):
        one, two = at["1"], at.get("2", at["1"])
        if kind == "valve a leg":
            one = two = (at["1"], at["2"])[i]
        b.rectifier(name, what, one, two, out)
        if kind == "common line":
            b.heater(name, what, "T1 heat 1", heat_end)
        else:
            b.heater(name, what, out, "T1 rect 2")


def rect_winding(plan: SupplyPlan) -> tuple[Winding, ...]:
    """The rectifiers' own heater winding, where they have one."""
    if plan.kind != "valve" or plan.rectifier == "common line":
        return ()
    return (winding("rect", "rect 1", "rect 2", 6.6 if plan.rectifier == "own cathode" else 5.3, 0.02, 6.0),)


def rect_joint(plan: SupplyPlan) -> dict[str, str]:
    """Where the rectifier winding's first lead stands: on the cathodes."""
    if not rect_winding(plan):
        return {}
    if plan.between:
        return {"rect 1": "rectified"}
    return {"rect 1": "HT0" if plan.choke else "HT1"}


# -- bias ---------------------------------------------------------------------------------------------------------
def choose_bias(rng: random.Random, ht: SupplyPlan) -> str:
    """Where a negative supply comes from: depends on what the HT winding offers."""
    ways = ["winding", "winding resistor", "winding bridge", "winding full wave"]
    if ht.form == "full wave" and not ht.back:
        ways += ["tap", "leg resistor", "pump", "pump two diodes"]
    if ht.form == "bridge" and not ht.back:
        ways += ["pump"]
    return rng.choice(ways)


def bias_windings(way: str) -> tuple[Winding, ...]:
    """The bias winding, where there is one."""
    if way == "winding full wave":
        return tapped("bias", 55.0, 30.0, 0.03)
    return (winding("bias", "bias 1", "bias 2", 55.0, 30.0, 0.03),) if way.startswith("winding") else ()


def build_bias(b: Builder, way: str, kind: str) -> dict[str, str]:
    """Rectifier and filter down to joint "bias"; returns the joints the bias winding's leads stand on."""
    joints: dict[str, str] = {}
    if way == "winding":
        b.diode("D1", "bias raw", "T1 bias 1", kind)
        joints = {"bias 2": "chassis"}
    elif way == "winding resistor":
        b.resistor("RD", "T1 bias 1", "bias cathode", 470.0)
        b.diode("D1", "bias raw", "bias cathode", kind)
        joints = {"bias 2": "chassis"}
    elif way == "winding full wave":
        b.diode("D1", "bias raw", "T1 bias 1", kind)
        b.diode("D2", "bias raw", "T1 bias 2", kind)
        joints = {"bias ct": "chassis"}
    elif way == "winding bridge":
        for n, (a, c) in enumerate(
            (("bias raw", "T1 bias 1"), ("bias raw", "T1 bias 2"), ("T1 bias 1", "chassis"), ("T1 bias 2", "chassis"))
        ):
            b.diode(f"D{n + 1}", a, c, kind)
    elif way == "tap":
        b.diode("D1", "bias raw", "T1 ht tap", kind)
    elif way == "leg resistor":
        b.resistor("RD", "T1 ht 1", "bias cathode", 150e3, watts=1.0)
        b.diode("D1", "bias raw", "bias cathode", kind)
    else:
        b.capacitor("CX", "bias pump", "T1 ht 1", 0.1e-6, 1000.0, "film")
        b.diode("D1", "bias pump", "chassis", kind)
        if way == "pump":
            b.resistor("RX", "bias pump", "bias raw", 22e3)
        else:
            b.diode("D2", "bias raw", "bias pump", kind)
    b.capacitor("C5", "chassis", "bias raw", 47e-6, 100.0)
    b.resistor("R4", "bias raw", "bias", 3.3e3)
    b.capacitor("C6", "chassis", "bias", 47e-6, 100.0)
    return joints


def bias_expected(way: str) -> tuple[str, str]:
    """(form, hot joint) that supplies must find for a way."""
    form = {"winding bridge": "bridge", "winding full wave": "full wave", "pump two diodes": "cascade doubler"}
    return form.get(way, "half wave"), "bias raw"


# -- heaters --------------------------------------------------------------------------------------------------------
HEATER_WAYS = ("centre tap", "hum pot", "resistors", "one side", "lifted", "lifted hum pot")


def build_heaters(b: Builder, way: str) -> dict[str, str]:
    """What ties the 6.3 V line; returns the joints of its winding's leads. Joint "lift" hangs on HT3."""
    if way == "centre tap":
        return {"heat ct": "chassis"}
    if way == "one side":
        return {"heat 2": "chassis"}
    if way == "resistors":
        for n in (1, 2):
            b.resistor(f"RT{n}", f"T1 heat {n}", "chassis", 100.0)
        return {}
    lift = {}
    if "lifted" in way:
        b.resistor("RU", "HT3", "lift", 330e3)
        b.resistor("RV", "lift", "chassis", 47e3)
        b.capacitor("CU", "lift", "chassis", 22e-6, 100.0)
        lift = {"heat ct": "lift"}
    if "hum pot" in way:
        b.pot("PH", "T1 heat 1", "lift" if "lifted" in way else "chassis", "T1 heat 2", 100.0)
        lift = {}
    return lift


def build_dc_heaters(b: Builder) -> dict[str, str]:
    """A bridge on a winding of its own for the small valves: dc from "dc heat" to chassis."""
    for n, (a, c) in enumerate(
        (("T1 dc 1", "dc heat"), ("T1 dc 2", "dc heat"), ("chassis", "T1 dc 1"), ("chassis", "T1 dc 2"))
    ):
        b.diode(f"DD{n}", a, c)
    b.capacitor("CD", "dc heat", "chassis", 10e-3, 16.0)
    return {}


def transformer(b: Builder, ht: SupplyPlan, bias: str | None, small: str, joints: dict[str, str]) -> None:
    """T1 with every winding the plan needs."""
    windings = [primary(230.0, 8.0), *ht_windings(ht, bias or ""), *rect_winding(ht), *tapped("heat", 3.35, 0.02, 8.0)]
    if bias:
        windings += bias_windings(bias)
    if small:  # a winding of its own for the small valves' heaters
        windings.append(winding(small, f"{small} 1", f"{small} 2", {"dc": 6.2, "twelve": 13.1}[small], 0.05, 2.0))
    b.transformer("T1", tuple(windings), joints)
