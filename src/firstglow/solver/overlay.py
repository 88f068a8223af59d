"""Situations and faults as changes of parameters: one column each, so that many kinds solve in one batch."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.situation import Fault, Situation
from firstglow.solver.frame import Array
from firstglow.solver.parameters import CONTACT_OHMS, OPEN_OHMS

SHORT_OHMS = 0.1
"""A part that is shorted (the fault table's words)."""
TOUCH_OHMS = 1.0
"""Two electrodes that touch inside a valve (the fault table's words)."""
LOUDSPEAKER_DC = 0.8
"""A loudspeaker's dc ohms over its rated impedance (common practice: 0.7 to 0.85)."""

OHMS = {"capacitor": "leak_ohms"}
"""The attribute that carries a two-lead part's dc, where it is not ``ohms``."""


class Overlay:
    """Sets rows of a parameter array (parameter, sample) in place."""

    def __init__(self, amplifier: Amplifier, row: Mapping[str, int], values: Array) -> None:
        self.amplifier, self.row, self.p = amplifier, row, values

    def _row(self, name: str) -> int:
        """The row of a parameter. ValueError where the circuit has none: what is asked for never passes unnoticed."""
        found = self.row.get(name)
        if found is None:
            raise ValueError(f"{name}: this circuit has no such parameter")
        return found

    def set(self, name: str, value: float) -> None:
        """Set a parameter."""
        self.p[self._row(name)] = value

    def scale(self, name: str, factor: float) -> None:
        """Multiply a parameter."""
        self.p[self._row(name)] *= factor

    def add(self, name: str, amount: float) -> None:
        """Add to a parameter."""
        self.p[self._row(name)] += amount

    def set_where(self, value: float, *names: str) -> None:
        """Set those of these parameters that the circuit has. ValueError where it has none of them."""
        known = [name for name in names if name in self.row]
        if not known:
            self._row(names[0])
        for name in known:
            self.set(name, value)

    # -- the situation ---------------------------------------------------------------------------------------------
    def situation(self, s: Situation) -> None:
        """How it stands. Mains and load keep the sample's own ratio to nominal; pots that are not named stay."""
        a = self.amplifier
        self.scale("mains volts", s.mains_volts / a.mains_volts)
        if "mains hertz" in self.row:  # a fragment on dc has none
            self.set("mains hertz", s.mains_hz or a.mains_hz)
        for envelope in s.out:
            self.set(f"{envelope} in", 0.0)
        for pot, position in s.pots.items():
            self.set(f"{pot} position", position)
        for switch in s.switches_open:
            self.set(f"{switch} ohms", OPEN_OHMS)
        if s.lamp_watts is not None:
            self.set("lamp in", 1.0)
            self.set("lamp watts", s.lamp_watts)
        for joint, ohms in s.loads.items():
            self.add(f"{joint} leak siemens", 1.0 / max(ohms, CONTACT_OHMS))
        for part in a.of_kind("load"):
            if s.load == "none":
                self.set(f"{part.name} ohms", OPEN_OHMS)
            elif s.load == "loudspeaker":
                self.scale(f"{part.name} ohms", LOUDSPEAKER_DC)
        self._links(s)

    def _links(self, s: Situation) -> None:
        a = self.amplifier
        for link in a.links.values():
            loop = link.feedback
            if link.name in s.lifted or (loop and s.feedback == "open"):
                if link.tie is None:
                    self.lift(link.part, link.lead)
                else:
                    self.set(f"{link.name} link ohms", OPEN_OHMS)
                    self.set(f"{link.name} tie ohms", CONTACT_OHMS)
            elif loop and s.feedback == "test" and s.test_ohms is not None:
                if link.tie is None:
                    self.add(f"{link.part} ohms", s.test_ohms)
                else:
                    self.set(f"{link.name} link ohms", max(s.test_ohms, CONTACT_OHMS))
        for name in s.lifted - set(a.links):
            part, lead = terminal(a, name)
            self.lift(part, lead)

    def lift(self, name: str, lead: str) -> None:
        """A lead that hangs free: a two-lead part no longer conducts; a winding loses what ends on that lead."""
        part = self.amplifier.parts[name]
        if part.windings:
            for w in part.windings:
                if lead in (w.start, w.end):
                    self.set(f"{name} {w.name} ohms", OPEN_OHMS)
        elif part.kind == "pot":
            self.set(f"{name} {'wiper_ohms' if lead == 'wiper' else 'ohms'}", OPEN_OHMS)
        elif part.kind == "rectifier" and lead != "cathode":
            self.set(f"{name} {lead} fitted", 0.0)
        elif part.kind in {"valve", "rectifier"}:
            raise ValueError(f"{name} {lead}: a valve's lead cannot be lifted; pull the valve instead")
        else:
            self.open(part)

    # -- faults ----------------------------------------------------------------------------------------------------
    def fault(self, f: Fault) -> None:
        """One thing wrong. ValueError for a part or mode that is not known: a fault never passes unnoticed."""
        part = self.amplifier.parts.get(f.part)
        if part is None:
            raise ValueError(f"fault {f.part}:{f.mode}: no part of that name")
        winding = next((w.name for w in part.windings if f.mode in {f"{w.name} open", f"{w.name} shorted"}), None)
        if winding is not None:
            if f.mode.endswith("open"):
                self.set(f"{part.name} {winding} ohms", OPEN_OHMS)
            else:
                self.add(f"{part.name} {winding} short siemens", 1.0 / SHORT_OHMS)
            return
        if f.mode.startswith("wrong type"):
            kind = f.mode.partition("=")[2]
            self._wrong_type(part, kind)
            return
        act = _FAULTS.get(f.mode)
        if act is None:
            raise ValueError(f"fault {f.part}:{f.mode}: a {part.kind} has no such fault")
        act(self, part, f)

    def open(self, part: Part) -> None:
        """No current through a part."""
        n = part.name
        if part.kind in {"diode", "rectifier"}:
            self.set_where(0.0, *(f"{n} {lead} fitted" for lead in ("anode", "plate 1", "plate 2")))
        elif part.kind == "heater":
            self.dead(part)
        elif part.kind == "lamp":
            self.set(f"{n} fitted", 0.0)
        else:
            self.set(f"{n} {OHMS.get(part.kind, 'ohms')}", OPEN_OHMS)
            if part.kind == "capacitor":
                self.set(f"{n} farads", 0.0)

    def short(self, part: Part) -> None:
        """Next to nothing in a part's place."""
        n, g = part.name, 1.0 / SHORT_OHMS
        if part.kind in {"diode", "gas tube"}:
            self.add(f"{n} anode to cathode siemens", g)
        elif part.kind in {"heater", "lamp", "pot"}:
            self.add(f"{n} short siemens", 20.0 if part.kind == "heater" else g)
        else:
            self.set(f"{n} {OHMS.get(part.kind, 'ohms')}", SHORT_OHMS)
            if part.kind == "choke":
                self.set(f"{n} henries", 1e-9)

    def touch(self, part: Part, one: str, two: str, ohms: float) -> None:
        """A path between two electrodes of a valve."""
        self.add(f"{part.name} {one} to {two} siemens", 1.0 / ohms)

    def dead(self, part: Part) -> None:
        """A broken heater: cold, and the envelope's other sections with it. A gas tube that does not glow."""
        if part.kind == "gas tube":
            self.set(f"{part.name} anode fitted", 0.0)
        else:
            self.set(f"{part.envelope} heater fitted", 0.0)
            for other in self.amplifier.parts.values():
                if other.envelope == part.envelope and other.kind != "heater":
                    self.set(f"{other.name} emission", 0.0)

    def weak(self, part: Part, factor: float) -> None:
        """Worn: perveance and emission together."""
        self.scale(f"{part.name} perveance", factor)
        self.scale(f"{part.name} emission", factor)

    def exchange(self, part: Part, one: str, two: str) -> None:
        """Two leads of an output transformer exchanged: at dc, the windings that end on them change places."""
        pairs = [(w.name, w.name.replace(one, two)) for w in part.windings if w.name == one]
        for a, b in pairs:
            rows = [self.row[f"{part.name} {n} ohms"] for n in (a, b)]
            self.p[rows] = self.p[rows[::-1]]

    def _wrong_type(self, part: Part, kind: str) -> None:
        from firstglow.devices.catalogue import valve_type
        from firstglow.devices.rectifier import RectifierLaw

        right, wrong = valve_type(part.type or ""), valve_type(kind)
        law, other = right.sections[0].law, wrong.sections[0].law
        if not (isinstance(law, RectifierLaw) and isinstance(other, RectifierLaw)):
            raise TypeError(f"{part.name}: {part.type} and {kind} are not both rectifiers")
        self.scale(f"{part.name} perveance", other.perveance / law.perveance)
        self.scale(f"{part.name} emission", other.rated_amps / law.rated_amps)
        heater = f"{part.envelope} heater"
        self.scale(f"{heater} amps", wrong.heaters[0].amps / right.heaters[0].amps)
        self.scale(f"{heater} volts", wrong.heaters[0].volts / right.heaters[0].volts)


def terminal(amplifier: Amplifier, name: str) -> tuple[str, str]:
    """Part and lead of a terminal's name. ValueError if there is none."""
    for part in amplifier.parts.values():
        if name.startswith(part.name + " ") and name[len(part.name) + 1 :] in part.leads:
            return part.name, name[len(part.name) + 1 :]
    raise ValueError(f"lifted {name}: neither a link nor a terminal of this amplifier")


def stated(fault: Fault) -> float:
    """The fault's value. ValueError if it has none."""
    if fault.value is None:
        raise ValueError(f"fault {fault.part}:{fault.mode}: needs a value")
    return fault.value


def _leaks(o: Overlay, part: Part, f: Fault) -> None:
    row = o.row[f"{part.name} leak_ohms"]
    o.p[row] = 1.0 / (1.0 / o.p[row] + 1.0 / stated(f))


def _hk(o: Overlay, part: Part, f: Fault) -> None:
    row = o.row.get(f"{part.name} hk_leak_ohms")
    if row is None:
        o.add(f"{part.name} heater to cathode siemens", 1.0 / (f.value or TOUCH_OHMS))
    else:
        o.p[row] = 1.0 / (1.0 / o.p[row] + 1.0 / (f.value or TOUCH_OHMS))


def _reversed(o: Overlay, part: Part, f: Fault) -> None:
    if part.kind == "diode":
        o.set(f"{part.name} sense", -1.0)


def _wrong_tap(o: Overlay, part: Part, f: Fault) -> None:
    for w in part.windings:
        if w.role == "primary":
            o.set(f"{part.name} {w.name} turns", stated(f))


_FAULTS: Mapping[str, Callable[[Overlay, Part, Fault], None]] = {
    "open": lambda o, part, f: o.open(part),
    "shorted": lambda o, part, f: o.short(part),
    "drifts": lambda o, part, f: o.scale(f"{part.name} ohms", stated(f)),
    "leaks": _leaks,
    "dried": lambda o, part, f: o.scale(f"{part.name} farads", stated(f)),
    "wiper open": lambda o, part, f: o.set(f"{part.name} wiper_ohms", OPEN_OHMS),
    "reversed": _reversed,
    "dead": lambda o, part, f: o.dead(part),
    "weak": lambda o, part, f: o.weak(part, stated(f)),
    "gassy": lambda o, part, f: o.set(f"{part.name} gas", stated(f)),
    "grid to cathode": lambda o, part, f: o.touch(part, "grid", "cathode", f.value or TOUCH_OHMS),
    "plate to screen": lambda o, part, f: o.touch(part, "plate", "screen", f.value or TOUCH_OHMS),
    "plate to cathode": lambda o, part, f: o.touch(
        part, "plate 1" if part.kind == "rectifier" else "plate", "cathode", f.value or TOUCH_OHMS
    ),
    "heater to cathode": _hk,
    "half dead": lambda o, part, f: o.set(f"{part.name} plate 2 fitted", 0.0),
    "wrong tap": _wrong_tap,
    "plates exchanged": lambda o, part, f: o.exchange(part, "plate a", "plate b"),
    "screens exchanged": lambda o, part, f: o.exchange(part, "screen a", "screen b"),
}  # fmt: skip


def overlay(
    amplifier: Amplifier, row: Mapping[str, int], values: Array, situation: Situation, faults: Sequence[Fault] = ()
) -> Array:
    """A copy of ``values`` (parameter, sample) with a situation and faults laid over it."""
    work = Overlay(amplifier, row, np.array(values, dtype=float))
    work.situation(situation)
    for fault in faults:
        work.fault(fault)
    return work.p
