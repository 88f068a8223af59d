"""Small hand-made amplifiers for tests: real `Amplifier` objects without the file reader.

Every attribute of docs/design.md's table is present on every part. The two complete amplifiers at the end are
invented scenarios; nothing here is a check value.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping

from firstglow.amplifier.model import Amplifier, IdleTarget, Joint, Link, Origin, Part, Quantity, Winding
from winding_builders import primary, push_pull_windings, single_ended_windings, tapped, winding

Leads = Mapping[str, str]

# (value, half width or sigma as a fraction, shape): stand-ins for the file reader's own defaults.
DEFAULTS: dict[str, dict[str, tuple[float, float, str]]] = {
    "resistor": {"ohms": (1e3, 0.05, "uniform"), "watts": (0.5, 0.0, "exact"), "volts": (350.0, 0.0, "exact")},
    "capacitor": {
        "farads": (1e-6, 0.2, "uniform"),
        "volts": (450.0, 0.0, "exact"),
        "leak_ohms": (1e9, 0.0, "exact"),
        "esr_ohms": (0.1, 0.0, "exact"),
    },
    "pot": {
        "ohms": (10e3, 0.2, "uniform"),
        "watts": (0.5, 0.0, "exact"),
        "position": (0.5, 0.0, "exact"),
        "wiper_ohms": (1.0, 0.0, "exact"),
    },
    "choke": {"henries": (5.0, 0.2, "uniform"), "ohms": (100.0, 0.1, "uniform"), "amps": (0.15, 0.0, "exact")},
    "diode": {
        "amps": (1.0, 0.0, "exact"),
        "volts": (1000.0, 0.0, "exact"),
        "series_ohms": (0.05, 0.0, "exact"),
        "plates": (0.0, 0.0, "exact"),
        "age": (0.0, 0.0, "exact"),
    },
    "valve": {
        "perveance": (1.0, 0.08, "normal"),
        "mu": (1.0, 0.03, "normal"),
        "contact": (0.0, 0.0, "exact"),
        "emission": (1.0, 0.0, "exact"),
        "hk_leak_ohms": (100e6, 0.0, "exact"),
        "gas": (0.0, 0.0, "exact"),
    },
    "rectifier": {"perveance": (1.0, 0.1, "normal"), "emission": (1.0, 0.0, "exact")},
    "heater": {"volts": (6.3, 0.0, "exact"), "amps": (0.3, 0.03, "normal")},
    "transformer": {
        "magnetising_amps": (0.05, 0.5, "uniform"),
        "knee_volts": (1.1, 0.05, "uniform"),
        "core_loss_watts": (4.0, 0.5, "uniform"),
    },
    "output transformer": {
        "raa_ohms": (8e3, 0.1, "uniform"),
        "load_ohms": (8.0, 0.0, "exact"),
        "inductance": (20.0, 0.5, "uniform"),
    },
    "fuse": {"amps": (1.0, 0.0, "exact"), "ohms": (0.1, 0.5, "uniform")},
    "switch": {"ohms": (0.02, 0.5, "uniform")},
    "inlet": {},
    "input": {},
    "load": {"ohms": (8.0, 0.0, "exact")},
    "wire": {"ohms": (0.01, 0.0, "exact")},
    "supply": {"volts": (250.0, 0.0, "exact"), "ohms": (1.0, 0.0, "exact"), "hertz": (0.0, 0.0, "exact")},
    "gas tube": {
        "volts": (150.0, 0.03, "uniform"),
        "ohms": (100.0, 0.5, "uniform"),
        "amps_min": (0.005, 0.0, "exact"),
        "amps_max": (0.03, 0.0, "exact"),
    },
    "lamp": {"volts": (6.3, 0.0, "exact"), "amps": (0.15, 0.05, "uniform")},
}
# heater volts, amps and whether it has a centre tap; memory of data sheets, checked nowhere: only structure uses it
HEATERS: dict[str, tuple[float, float, bool]] = {
    "12AX7": (12.6, 0.15, True),
    "12AU7": (12.6, 0.15, True),
    "12AT7": (12.6, 0.15, True),
    "6SN7GTB": (6.3, 0.6, False),
    "6SL7GT": (6.3, 0.3, False),
    "6CG7": (6.3, 0.6, False),
    "EF86": (6.3, 0.2, False),
    "6AU6": (6.3, 0.3, False),
    "EL84": (6.3, 0.76, False),
    "EL34": (6.3, 1.5, False),
    "6V6GT": (6.3, 0.45, False),
    "6L6GC": (6.3, 0.9, False),
    "KT88": (6.3, 1.6, False),
    "2A3": (2.5, 2.5, False),
    "300B": (5.0, 1.2, False),
    "GZ34": (5.0, 1.9, False),
    "5U4G": (5.0, 3.0, False),
    "5V4G": (5.0, 2.0, False),
    "5Y3GT": (5.0, 2.0, False),
    "EZ80": (6.3, 0.6, False),
    "EZ81": (6.3, 1.0, False),
    "6X4": (6.3, 0.6, False),
}


class Builder:
    """Collects parts on named joints; `build` makes the frozen Amplifier. Joints exist by being named."""

    def __init__(
        self, name: str, mains_volts: float = 230.0, mains_hz: float = 50.0, channels: tuple[str, ...] = ()
    ) -> None:
        self.name, self.mains_volts, self.mains_hz, self.channels = name, mains_volts, mains_hz, channels
        self.parts: dict[str, Part] = {}
        self.links: dict[str, Link] = {}
        self.idle: dict[str, IdleTarget] = {}
        self.floating: set[str] = set()
        self.line = 1

    def add(
        self,
        name: str,
        kind: str,
        leads: Leads,
        kind_type: str | None = None,
        words: Mapping[str, str | bool] | None = None,
        windings: tuple[Winding, ...] = (),
        envelope: str | None = None,
        **values: float,
    ) -> None:
        """One part; ``values`` replace the table's defaults (their spread stays the default's)."""
        assert name not in self.parts, name
        known = DEFAULTS[kind]
        assert set(values) <= set(known), (name, set(values) - set(known))
        self.line += 1
        channel = next((c for c in self.channels if name.startswith(f"{c} ")), None)
        twin = None
        if channel is not None and len(self.channels) == 2:
            other = next(c for c in self.channels if c != channel)
            twin = other + name[len(channel) :]
        resolved = {
            key: Quantity(
                values.get(key, value), spread, shape, Origin("drawn" if key in values else "default", self.line)
            )
            for key, (value, spread, shape) in known.items()
        }
        self.parts[name] = Part(
            name, kind, kind_type, dict(leads), resolved, dict(words or {}), windings, envelope, channel, twin,
            origin=Origin("drawn", self.line),
        )  # fmt: skip

    # -- two-lead parts ------------------------------------------------------------------------------------------
    def resistor(
        self,
        name: str,
        a: str,
        b: str,
        ohms: float,
        link: str = "",
        test: bool = False,
        tie: str | None = None,
        **values: float,
    ) -> None:
        words: dict[str, str | bool] = {}
        if link:
            words["link"] = link
        if test:
            words["test"] = True
        self.add(name, "resistor", {"1": a, "2": b}, words=words, ohms=ohms, **values)
        if link:  # the lead named first is the one that is lifted
            channel = self.parts[name].channel
            full = f"{channel} {link}" if channel else link
            self.links[full] = Link(full, name, "1", tie, channel, "feedback" in link)

    def capacitor(
        self,
        name: str,
        plus: str,
        minus: str,
        farads: float,
        volts: float = 450.0,
        kind_type: str = "electrolytic",
        **values: float,
    ) -> None:
        self.add(name, "capacitor", {"+": plus, "-": minus}, kind_type, farads=farads, volts=volts, **values)

    def pot(self, name: str, end_1: str, wiper: str, end_2: str, ohms: float, **values: float) -> None:
        self.add(name, "pot", {"end 1": end_1, "wiper": wiper, "end 2": end_2}, ohms=ohms, **values)

    def choke(self, name: str, a: str, b: str, henries: float = 5.0, ohms: float = 100.0) -> None:
        self.add(name, "choke", {"1": a, "2": b}, henries=henries, ohms=ohms)

    def diode(self, name: str, anode: str, cathode: str, kind_type: str = "silicon", **values: float) -> None:
        self.add(name, "diode", {"anode": anode, "cathode": cathode}, kind_type, **values)

    def fuse(self, name: str, a: str, b: str, **values: float) -> None:
        self.add(name, "fuse", {"1": a, "2": b}, **values)

    def switch(self, name: str, a: str, b: str, role: str) -> None:
        self.add(name, "switch", {"1": a, "2": b}, words={"role": role})

    def wire(self, name: str, a: str, b: str, link: str = "", tie: str | None = None) -> None:
        self.add(name, "wire", {"1": a, "2": b}, words={"link": link} if link else {})
        if link:
            channel = self.parts[name].channel
            full = f"{channel} {link}" if channel else link
            self.links[full] = Link(full, name, "1", tie, channel, "feedback" in link)

    # -- valves ---------------------------------------------------------------------------------------------------
    def section(self, name: str, kind_type: str, leads: Leads, envelope: str = "", **values: float) -> None:
        """One valve section; its envelope is its own name unless given ("V1a" of "V1")."""
        self.add(name, "valve", leads, kind_type, envelope=envelope or name, **values)

    def triode(self, name: str, kind_type: str, plate: str, grid: str, cathode: str, envelope: str = "") -> None:
        self.section(name, kind_type, {"plate": plate, "grid": grid, "cathode": cathode}, envelope)

    def pentode(
        self, name: str, kind_type: str, plate: str, grid: str, cathode: str, screen: str, suppressor: str = ""
    ) -> None:
        leads = {"plate": plate, "grid": grid, "cathode": cathode, "screen": screen}
        if suppressor:
            leads["suppressor"] = suppressor
        self.section(name, kind_type, leads)

    def rectifier(self, name: str, kind_type: str, plate_1: str, plate_2: str | None, cathode: str) -> None:
        leads = {"plate 1": plate_1, "cathode": cathode}
        if plate_2 is not None:
            leads["plate 2"] = plate_2
        self.add(name, "rectifier", leads, kind_type, envelope=name)

    def heater(self, envelope: str, kind_type: str, one: str, two: str, centre: str | None = None) -> None:
        volts, amps, tapped = HEATERS[kind_type]
        leads = {"1": one, "2": two}
        if tapped:
            leads["ct"] = centre if centre is not None else f"{envelope} heater ct"
        channel = next((c for c in self.channels if envelope.startswith(f"{c} ")), None)
        assert channel is None or envelope.startswith(channel)
        self.add(f"{envelope} heater", "heater", leads, kind_type, envelope=envelope, volts=volts, amps=amps)

    # -- transformers and the bench side -----------------------------------------------------------------------------
    def mains_side(self, primary: tuple[str, str] = ("T1 primary 1", "T1 primary 2"), earth: bool = True) -> None:
        """Inlet, fuse and switch up to the primary; protective earth to chassis."""
        self.add("inlet", "inlet", {"line": "line", "neutral": "neutral", "earth": "earth"})
        self.fuse("F1", "line", "fused line", amps=2.0)
        self.switch("S1", "fused line", primary[0], "mains")
        self.wire("neutral lead", "neutral", primary[1])
        if earth:
            self.wire("earth bond", "earth", "chassis")

    def transformer(
        self, name: str, windings: tuple[Winding, ...], joints: Mapping[str, str] | None = None, **values: float
    ) -> None:
        """A mains transformer; leads stand on "NAME lead" unless ``joints`` says otherwise."""
        self.add(name, "transformer", self._leads(name, windings, joints), windings=windings, **values)

    def output_transformer(
        self, name: str, windings: tuple[Winding, ...], joints: Mapping[str, str], **values: float
    ) -> None:
        self.add(name, "output transformer", self._leads(name, windings, joints), windings=windings, **values)

    @staticmethod
    def _leads(name: str, windings: tuple[Winding, ...], joints: Mapping[str, str] | None) -> dict[str, str]:
        leads = {lead: f"{name} {lead}" for w in windings for lead in (w.start, w.end)}
        unknown = set(joints or {}) - set(leads)
        assert not unknown, unknown
        return leads | dict(joints or {})

    def load(self, hot: str, common: str, ohms: float = 8.0, name: str = "loudspeaker") -> None:
        self.add(name, "load", {"hot": hot, "common": common}, ohms=ohms)

    def input(self, hot: str, name: str = "input", ground: str = "chassis") -> None:
        self.add(name, "input", {"hot": hot, "ground": ground})

    def build(self) -> Amplifier:
        """The frozen amplifier. Joints are what the leads name."""
        terminals: dict[str, list[str]] = {}
        for part in self.parts.values():
            for lead, joint in part.leads.items():
                terminals.setdefault(joint, []).append(f"{part.name} {lead}")
        joints = {}
        for name, ends in terminals.items():
            channel = next((c for c in self.channels if name.startswith(f"{c} ")), None)
            aliases = tuple(t for t in ends if t != name)
            joints[name] = Joint(name, tuple(ends), aliases, channel, name in self.floating, line=1)
        aliases = {alias: j.name for j in joints.values() for alias in j.aliases}
        resolved = sorted(
            (p.name, sorted(p.leads.items()), sorted(p.values.items(), key=str), p.windings)
            for p in self.parts.values()
        )
        content = repr((self.mains_volts, self.mains_hz, resolved))
        return Amplifier(
            name=self.name, drawing="built in a test", mains_volts=self.mains_volts, mains_hz=self.mains_hz,
            channels=self.channels, parts=dict(self.parts), joints=joints, links=dict(self.links),
            idle=dict(self.idle), aliases=aliases,
            spreads={"*": {"perveance": 0.08, "mu": 0.03, "contact": 0.07}},
            digest=hashlib.sha256(content.encode()).hexdigest(), file="built.toml",
        )  # fmt: skip


def push_pull_fixed() -> Amplifier:
    """The amplifier of ``push_pull_builder``."""
    return push_pull_builder().build()


def push_pull_builder() -> Builder:
    """Mono, two 6L6GC in push-pull, pentode connection, fixed bias from its own winding, valve rectifier, choke, loop.

    Invented. V1a gain stage direct-coupled to the split-load stage V1b; presets P1 and P2, sense resistors R20 and R21.
    """
    b = Builder("Rowan Twenty")
    b.mains_side()
    b.transformer(
        "T1",
        (
            primary(230.0, 9.0),
            *tapped("ht", 340.0, 55.0, 0.2),
            winding("rect", "rect 1", "rect 2", 5.3, 0.05, 3.0),
            *tapped("heat", 3.3, 0.03, 4.0),
            winding("bias", "bias 1", "bias 2", 52.0, 25.0, 0.03),
        ),
        {"ht ct": "chassis", "heat ct": "chassis", "rect 1": "HT1", "bias 2": "chassis"},
        magnetising_amps=0.08,
        core_loss_watts=6.0,
    )
    b.rectifier("V4", "5U4G", "T1 ht 1", "T1 ht 2", "HT1")
    b.heater("V4", "5U4G", "HT1", "T1 rect 2")
    b.capacitor("C1", "HT1", "chassis", 33e-6, 550.0)
    b.choke("L1", "HT1", "HT2", 5.0, 90.0)
    b.capacitor("C2", "HT2", "chassis", 47e-6, 550.0)
    b.resistor("R1", "HT2", "HT3", 15e3, watts=2.0)
    b.capacitor("C3", "HT3", "chassis", 22e-6, 550.0)
    b.resistor("R2", "HT3", "HT4", 22e3, watts=1.0)
    b.capacitor("C4", "HT4", "chassis", 22e-6, 550.0)
    b.resistor("R3", "HT1", "chassis", 220e3, watts=2.0)
    # bias: half wave, most negative at end 1 of each preset
    b.diode("D1", "bias raw", "T1 bias 1", amps=1.0, volts=1000.0)
    b.capacitor("C5", "chassis", "bias raw", 47e-6, 100.0)
    b.resistor("R4", "bias raw", "bias", 3.3e3)
    b.capacitor("C6", "chassis", "bias", 47e-6, 100.0)
    for n, valve in ((1, "V2"), (2, "V3")):
        b.pot(f"P{n}", "bias", f"{valve} bias node", f"bias foot {n}", 25e3, position=0.3)
        b.resistor(f"R{4 + n}", f"bias foot {n}", "chassis", 33e3)
    # input stage and split load
    b.input("V1a grid")
    b.resistor("R7", "V1a grid", "chassis", 1e6)
    b.triode("V1a", "12AX7", "V1a plate", "V1a grid", "V1a cathode", "V1")
    b.resistor("R8", "HT4", "V1a plate", 220e3)
    b.resistor("R9", "V1a cathode", "chassis", 1.5e3)
    b.triode("V1b", "12AX7", "V1b plate", "V1a plate", "V1b cathode", "V1")
    b.resistor("R10", "HT3", "V1b plate", 56e3, watts=1.0)
    b.resistor("R11", "V1b cathode", "chassis", 56e3, watts=1.0)
    b.heater("V1", "12AX7", "T1 heat 1", "T1 heat 1", "T1 heat 2")
    # output stage
    # V1a's cathode and plate rise together and V1b's cathode with them: plate a falls, and the loop is negative
    for n, (valve, source, half) in enumerate((("V2", "V1b cathode", "a"), ("V3", "V1b plate", "b"))):
        b.capacitor(f"C{7 + n}", source, f"{valve} drive", 0.22e-6, 630.0, "film")
        b.resistor(f"R{12 + n}", f"{valve} drive", f"{valve} bias node", 220e3)
        b.resistor(f"R{14 + n}", f"{valve} drive", f"{valve} grid", 2.2e3)
        b.resistor(f"R{16 + n}", "HT2", f"{valve} screen", 470.0, watts=2.0)
        b.pentode(valve, "6L6GC", f"T2 plate {half}", f"{valve} grid", f"{valve} cathode", f"{valve} screen")
        b.resistor(f"R{20 + n}", f"{valve} cathode", "chassis", 10.0, test=True, watts=1.0)
        b.heater(valve, "6L6GC", "T1 heat 1", "T1 heat 2")
        b.idle[valve] = IdleTarget(valve, Quantity(0.035), pot=f"P{n + 1}")
    b.output_transformer(
        "T2",
        push_pull_windings(6.6e3, half_ohms=95.0),
        {"centre": "HT1", "common": "chassis", "8": "loudspeaker hot"},
        raa_ohms=6.6e3,
    )
    b.load("loudspeaker hot", "chassis")
    b.resistor("R22", "loudspeaker hot", "V1a cathode", 22e3, link="feedback", tie="chassis")
    return b


def single_ended_cathode() -> Amplifier:
    """The amplifier of ``single_ended_builder``."""
    return single_ended_builder().build()


def single_ended_builder() -> Builder:
    """Mono, one EL84 single-ended, cathode bias, no loop; valve rectifier on the common heater line, cathode its own.

    Invented. V1a gain stage, volume control P1, V1b driver, V2 output.
    """
    b = Builder("Hazel Four")
    b.mains_side()
    b.transformer(
        "T1",
        (primary(230.0, 22.0), *tapped("ht", 250.0, 120.0, 0.09), *tapped("heat", 3.3, 0.06, 3.0)),
        {"ht ct": "chassis", "heat ct": "chassis"},
        magnetising_amps=0.05,
        core_loss_watts=4.0,
    )
    b.rectifier("V3", "EZ80", "T1 ht 1", "T1 ht 2", "HT1")
    b.heater("V3", "EZ80", "T1 heat 1", "T1 heat 2")
    b.capacitor("C1", "HT1", "chassis", 32e-6, 450.0)
    b.resistor("R1", "HT1", "HT2", 680.0, watts=5.0)
    b.capacitor("C2", "HT2", "chassis", 32e-6, 450.0)
    b.resistor("R2", "HT2", "HT3", 22e3, watts=1.0)
    b.capacitor("C3", "HT3", "chassis", 22e-6, 450.0)
    b.resistor("R3", "HT1", "chassis", 330e3, watts=1.0)
    b.input("input hot")
    b.pot("P1", "chassis", "V1b source", "V1a drive", 500e3)
    b.resistor("R4", "input hot", "chassis", 1e6)
    b.triode("V1a", "12AX7", "V1a plate", "input hot", "V1a cathode", "V1")
    b.resistor("R5", "HT3", "V1a plate", 100e3)
    b.resistor("R6", "V1a cathode", "chassis", 1.5e3)
    b.capacitor("C4", "V1a cathode", "chassis", 25e-6, 25.0)
    b.capacitor("C5", "V1a plate", "V1a drive", 22e-9, 400.0, "film")
    b.triode("V1b", "12AX7", "V1b plate", "V1b source", "V1b cathode", "V1")
    b.resistor("R7", "HT3", "V1b plate", 100e3)
    b.resistor("R8", "V1b cathode", "chassis", 1.5e3)
    b.heater("V1", "12AX7", "T1 heat 1", "T1 heat 1", "T1 heat 2")
    b.capacitor("C6", "V1b plate", "V2 drive", 47e-9, 400.0, "film")
    b.resistor("R9", "V2 drive", "chassis", 470e3)
    b.resistor("R10", "V2 drive", "V2 grid", 1e3)
    b.pentode("V2", "EL84", "T2 plate a", "V2 grid", "V2 cathode", "V2 screen", "V2 cathode")
    b.resistor("R11", "HT2", "V2 screen", 220.0)
    b.resistor("R12", "V2 cathode", "chassis", 150.0, watts=2.0)
    b.capacitor("C7", "V2 cathode", "chassis", 100e-6, 25.0)
    b.heater("V2", "EL84", "T1 heat 1", "T1 heat 2")
    b.output_transformer(
        "T2",
        single_ended_windings(5.2e3, ohms=280.0),
        {"centre": "HT1", "common": "chassis", "8": "loudspeaker hot"},
        raa_ohms=5.2e3,
    )
    b.load("loudspeaker hot", "chassis")
    return b
