"""What no drawing shows and every amplifier has: mains side, heaters, cathodes joined in the glass, load terminals.

Each thing added here because the file does not say it is listed as a default.
"""

import re
from collections.abc import Iterator

from firstglow.amplifier.bases import Base
from firstglow.amplifier.drafts import Draft, Place, lead_names, taps
from firstglow.amplifier.joints import Groups, Node, Scopes, natural
from firstglow.amplifier.model import DefaultUsed, Origin, Quantity
from firstglow.amplifier.windings import free_winding

_DEFAULT = Origin("default", 0)
FITS = 0.12  # a heater and a winding whose marked volts are no further apart belong together
SPARE_AMPS = 1.5  # of what the heaters draw: a winding that is added carries so much (common practice)


FEEDS = ("fuse", "switch", "wire", "inlet", "choke", "supply", "pot")
MOST_OHMS = 1e3  # no resistor or lamp in series with a primary has more: a limiter or a dropper has some tens [ohm]


class Implied:
    """Adds implied parts and joints to the drafts of one amplifier."""

    def __init__(self, scopes: Scopes, groups: Groups, fragment: bool, mains_volts: float) -> None:
        self.scopes, self.groups, self.fragment, self.mains_volts = scopes, groups, fragment, mains_volts
        self.defaults: list[DefaultUsed] = []

    def run(self) -> None:
        """Everything, in an order that later steps rely on."""
        self._suppressors()
        self._heaters()
        self._centre_taps()
        self._output_transformers()
        self._inputs()
        if not self.fragment:
            self._mains_side()

    def valves(self) -> None:
        """Suppressors and heaters again: a layer may have added valves."""
        self._suppressors()
        self._heaters()

    def _note(self, part: str, what: str, value: str) -> None:
        self.defaults.append(DefaultUsed(part, what, value, "as wired by default"))

    def _all(self, *kinds: str) -> Iterator[Draft]:
        for name in sorted(self.scopes.drafts, key=natural):
            if self.scopes.drafts[name].kind in kinds:
                yield self.scopes.drafts[name]

    def _new(
        self, name: str, kind: str, kind_type: str | None = None, channel: str | None = None, line: int = 0
    ) -> Draft:
        local = name.removeprefix(f"{channel} ") if channel else name
        draft = Draft(name, local, channel, kind, kind_type, (), Origin("default", line))
        self.scopes.add(draft)
        return draft

    def _tie(self, part: str, lead: str, node: Node) -> None:
        self.groups.join(("lead", part, lead), node)

    def _alone(self, part: str, lead: str) -> bool:
        return self.groups.alone(("lead", part, lead))

    def _suppressors(self) -> None:
        for draft in self._all("valve"):
            if "suppressor" in lead_names(draft) and self._alone(draft.name, "suppressor"):
                self._tie(draft.name, "suppressor", ("lead", draft.name, "cathode"))
                self._note(draft.name, "suppressor", "joined to its cathode")

    # -- heaters -------------------------------------------------------------------------------------------------
    def _heaters(self) -> None:
        envelopes: dict[str, list[Draft]] = {}
        for draft in self._all("valve", "rectifier"):
            envelopes.setdefault(draft.envelope or draft.name, []).append(draft)
        for envelope, sections in envelopes.items():
            base = sections[0].base
            if base is None or f"{envelope} heater" in self.scopes.drafts:
                continue
            self._one_type(base, sections)
            channels = {s.channel for s in sections}
            channel = channels.pop() if len(channels) == 1 else None
            self._heater(envelope, base, sections, channel)

    def _one_type(self, base: Base, sections: list[Draft]) -> None:
        """One glass is of one type, whatever its sections' lines say."""
        for other in sections[1:]:
            if other.base is not None and other.base.name != base.name:
                found = f"a {other.base.name} in one glass with {sections[0].local}, a {base.name}"
                self.scopes.mistakes.add(other.path, other.name, found, "one type a glass", f'"{base.name}"')

    def _heater(self, envelope: str, base: Base, sections: list[Draft], channel: str | None) -> None:
        heater = self._new(f"{envelope} heater", "heater", base.name, channel, sections[0].line)
        local = sections[0].local
        heater.local = f"{local[:-1] if len(base.sections) > 1 and local[-1] in 'abtp' else local} heater"
        self.scopes.names[(channel, heater.local)] = heater.name
        heater.envelope, heater.base = envelope, base
        places = next((s.heater for s in sections if s.heater), [])
        ends = self._ends(places, sections[0]) if places else self._unsaid(envelope, base, sections[0])
        series = self._series(base, ends, sections)
        volts, amps = base.heaters[0]
        heater.values["volts"] = Quantity(volts, 0.0, "exact", _DEFAULT)
        heater.values["amps"] = Quantity(amps, 0.05, "uniform", _DEFAULT)
        if len(ends) >= 2:
            if base.ct_pin and len(ends) == 2 and not series:
                ends = [ends[0], ends[0], ends[1]]
            for lead, node in zip(lead_names(heater), ends, strict=False):
                self._tie(heater.name, lead, node)

    def _series(self, base: Base, ends: list[Node], sections: list[Draft]) -> bool:
        """True where a heater with a centre tap is fed from end to end: as said, else by the winding's volts."""
        said = next((s.words["heater_connection"] for s in sections if "heater_connection" in s.words), None)
        if said is not None:
            return said == "series"
        return any(n[0] == "lead" and self._winding_volts(n) > 9.5 for n in ends[:1])

    def _winding_volts(self, node: Node) -> float:
        draft = self.scopes.drafts.get(node[1])
        if draft is None or draft.kind != "transformer":
            return 0.0
        return next((w.volts for w, _ in draft.windings.values() if node[2].startswith(w.name + " ")), 0.0)

    def _ends(self, places: list[Place], owner: Draft) -> list[Node]:
        """Joints that the heater's leads go to: the ends of a winding, or joints one by one."""
        if len(places) == 1:
            part, rest, _ = self.scopes.find(places[0].text, places[0].channel)
            draft = self.scopes.drafts[part] if part else None
            if draft is not None and draft.kind == "transformer" and rest in draft.windings:
                leads = draft.windings[rest][0].leads
                return [("lead", draft.name, f"{rest} {leads[0]}"), ("lead", draft.name, f"{rest} {leads[-1]}")]
            if draft is None and self.scopes.note_missing(places[0], owner.name):
                return []
            if draft is not None and draft.lost:
                self.scopes.mistakes.broken = True
                return []
            self.scopes.mistakes.broken = True
            self.scopes.mistakes.add(
                places[0].line,
                owner.name,
                f"heater = {places[0].text!r}",
                "a winding of a mains transformer, or a list of two joints",
                self._feeding(owner),
            )
            return []
        nodes = [self.scopes.node(p, owner.name) for p in places]
        return [n for n in nodes if n is not None] if all(nodes) else []

    def _unsaid(self, envelope: str, base: Base, owner: Draft) -> list[Node]:
        """The one winding of fitting volts; a bench supply in a fragment."""
        fits = [
            (d, w)
            for d in self._all("transformer")
            for w, _ in d.windings.values()
            if not w.primary and any(abs(w.volts / v - 1) < FITS for v, _ in base.heaters)
        ]
        if base.rectifier and base.joined:
            fits = [f for f in fits if not self._taken(*f)] or fits
        if len(fits) == 1:
            draft, winding = fits[0]
            self._note(f"{envelope} heater", "fed from", f"{draft.name} {winding.name}")
            return [
                ("lead", draft.name, f"{winding.name} {winding.leads[0]}"),
                ("lead", draft.name, f"{winding.name} {winding.leads[-1]}"),
            ]
        if self.fragment:
            own = base.joined and (base.rectifier or not self._alone(owner.name, "cathode"))
            return self._own_heater(envelope, base) if own else self._bench_heater(base)
        if self.scopes.mistakes.broken:  # the winding may be in the line that could not be read
            return []
        names = ", ".join(f"{d.name} {w.name}" for d, w in fits) or "none fits"
        volts = " or ".join(f"{v:g} V" for v, _ in base.heaters)
        self.scopes.mistakes.add(
            owner.line,
            owner.name,
            f"no winding named for its heater of {volts} ({names})",
            "a winding, or a list of two joints",
            self._feeding(owner),
        )
        return []

    def _feeding(self, owner: Draft) -> str:
        """What to write for a valve's heater: the winding of its volts, or one that is added to the transformer."""
        fitting = self._fitting(owner)
        if fitting is not None:
            return f'heater = "{fitting}"'
        volts = owner.base.heaters[0][0] if owner.base is not None else 6.3
        glass = {d.envelope: d.base for d in self._all("valve", "rectifier") if d.base is not None}
        amps = sum(b.heaters[0][1] for b in glass.values() if b.heaters[0][0] == volts) or 1.0
        drafts = list(self._all("transformer"))
        name = free_winding(name for d in drafts for name in d.windings)
        on = next((d.local for d in drafts), "a mains transformer")
        # a centre tap stands on chassis by itself; of a heater that takes its cathode along it would be a short
        centre = "" if owner.base is not None and owner.base.joined else " ct"
        return f'a winding for it on {on}: {name} = "{volts:g}V {SPARE_AMPS * amps:.2g}A{centre}"'

    def _fitting(self, owner: Draft) -> str | None:
        """The winding whose volts are the nearest to those of a valve's heater; None where none is near enough."""
        wanted = [volts for volts, _ in owner.base.heaters] if owner.base is not None else [6.3]
        found = [
            (min(abs(w.volts / v - 1) for v in wanted), f"{d.local} {w.name}")
            for d in self._all("transformer")
            for w, _ in d.windings.values()
            if not w.primary
        ]
        return min(found)[1] if found and min(found)[0] < FITS else None

    def _taken(self, draft: Draft, winding: object) -> bool:
        name = getattr(winding, "name", "")
        return any(p.text.endswith(f"{draft.local} {name}") for d in self._all("valve", "rectifier") for p in d.heater)

    def _bench_heater(self, base: Base) -> list[Node]:
        volts = base.heaters[-1][0]
        name = f"heater supply {volts:g}V"
        if name not in self.scopes.drafts:
            self._heater_supply(name, volts)
            self._tie(name, "-", ("name", "chassis", ""))
            self._note(name, "heaters", f"{volts:g} V ac from a bench supply, one side on chassis")
        return [("lead", name, "+"), ("lead", name, "-")]

    def _own_heater(self, envelope: str, base: Base) -> list[Node]:
        """A cathode joined to its heater in the glass takes the heater's supply along: on chassis it would be a short."""
        volts = base.heaters[-1][0]
        name = f"{envelope} heater supply {volts:g}V"
        if name not in self.scopes.drafts:
            self._heater_supply(name, volts)
            self.groups.add(("lead", name, "-"))
            why = f"{volts:g} V ac from a bench supply of its own, on chassis nowhere: its cathode is joined to it in the glass"
            self._note(name, "heaters", why)
        return [("lead", name, "+"), ("lead", name, "-")]

    def _heater_supply(self, name: str, volts: float) -> None:
        supply = self._new(name, "supply")
        supply.values = {
            "volts": Quantity(volts, 0.0, "exact", _DEFAULT),
            "hertz": Quantity(50.0, 0.0, "exact", _DEFAULT),
        }
        self.groups.add(("lead", name, "+"))

    # -- transformers ----------------------------------------------------------------------------------------------
    def _centre_taps(self) -> None:
        for draft in self._all("transformer"):
            for winding, _ in draft.windings.values():
                ends = [f"{winding.name} {lead}" for lead in winding.leads]
                centre = f"{winding.name} ct"
                used = any(not self._alone(draft.name, e) for e in ends)
                if "ct" in winding.leads and used and self._alone(draft.name, centre):
                    self._tie(draft.name, centre, ("name", "chassis", ""))
                    self._note(f"{draft.name} {winding.name}", "centre tap", "on chassis")

    def _output_transformers(self) -> None:
        for draft in self._all("output transformer"):
            if self._alone(draft.name, "common"):
                self._tie(draft.name, "common", ("name", "chassis", ""))
                self._note(draft.name, "common", "on chassis")
            loads = [d for d in self._all("load") if d.channel == draft.channel]
            if not loads:
                ohms = draft.values["load_ohms"].value if "load_ohms" in draft.values else taps(draft)[-1]
                tap = min(taps(draft), key=lambda t: abs(t - ohms))
                name = f"{draft.channel} load" if draft.channel else "load"
                load = self._new(name, "load", None, draft.channel)
                load.values["ohms"] = Quantity(tap, 0.0, "exact", _DEFAULT)
                self._tie(name, "hot", ("lead", draft.name, f"{tap:g}"))
                self._tie(name, "common", ("lead", draft.name, "common"))
                self._note(name, "loudspeaker terminals", f"on {draft.name} {tap:g} and common")

    def _inputs(self) -> None:
        """A joint called in, and no input part: the input jack stands there."""
        for channel in self.scopes.channels or (None,):
            joint: Node = ("name", f"{channel} in" if channel else "in", "")
            if joint in self.groups.above and not any(d.channel == channel for d in self._all("input")):
                name = f"{channel} input" if channel else "input"
                self._new(name, "input", None, channel)
                self._tie(name, "hot", joint)
                self._tie(name, "ground", ("name", "chassis", ""))
                self._note(name, "input jack", f"on {joint[1]}, its ground on chassis")

    # -- mains side ------------------------------------------------------------------------------------------------
    def _mains_side(self) -> None:
        primary = self._primary()
        if primary is None:
            return
        transformer, line_lead, neutral_lead = primary
        if not any(True for _ in self._all("inlet")):
            self._new("inlet", "inlet")
            for lead in ("line", "neutral", "earth"):
                self._tie("inlet", lead, ("name", lead, ""))
            self._note("inlet", "mains inlet", "line, neutral and earth")
        if self.groups.alone(("name", "earth", "")) or self._only_inlet("earth"):
            self._bond("earth bond", "earth", ("name", "chassis", ""))
        if not self._unfed(transformer, line_lead, neutral_lead):
            return
        chain: Node = ("name", "line", "")
        for kind, name in (("fuse", "mains fuse"), ("switch", "mains switch")):
            placeless = [
                d for d in self._all(kind) if all(self._alone(d.name, lead) for lead in ("1", "2")) and not d.leads
            ]
            draft = placeless[0] if placeless else None
            if draft is None:
                draft = self._new(name, kind)
                self._note(name, kind, "in the line, before the primary")
            if kind == "switch":
                draft.words["role"] = "mains"
            self._tie(draft.name, "1", chain)
            chain = ("lead", draft.name, "2")
        self.groups.join(chain, ("lead", transformer, line_lead))
        self.groups.join(("name", "neutral", ""), ("lead", transformer, neutral_lead))
        self._note(transformer, "primary", f"{line_lead} on line through fuse and switch, {neutral_lead} on neutral")

    def _unfed(self, transformer: str, *leads: str) -> bool:
        """Whether no line says where the mains come in: nothing on the primary's ends has a name or feeds it. What hangs there
        without feeding it (an interference capacitor, a neon, a discharge resistor, another primary) says nothing."""
        ends = {self.groups.top(("lead", transformer, lead)) for lead in leads}
        for node in self.groups.above:
            if self.groups.top(node) not in ends or node in {("lead", transformer, lead) for lead in leads}:
                continue
            if node[0] == "name":
                return False
            draft = self.scopes.drafts[node[1]]
            across = {self.groups.top(("lead", draft.name, lead)) for lead in lead_names(draft)} <= ends
            if _feeds(draft) and not (draft.kind in {"resistor", "lamp"} and across):
                return False
        return True

    def _bond(self, name: str, joint: str, to: Node) -> None:
        self._new(name, "wire")
        self._tie(name, "1", ("name", joint, ""))
        self._tie(name, "2", to)
        self._note(name, "protective earth", "wired to chassis")

    def _only_inlet(self, joint: str) -> bool:
        top = self.groups.top(("name", joint, ""))
        others = [n for n in self.groups.above if self.groups.top(n) == top and n[0] == "lead"]
        return all(self.scopes.drafts[n[1]].kind == "inlet" for n in others)

    def _primary(self) -> tuple[str, str, str] | None:
        """(transformer, lead for line, lead for neutral) of the first mains transformer; a tap by the mains volts."""
        for draft in self._all("transformer"):
            windings = [w for w, _ in draft.windings.values() if w.primary]
            if len(windings) == 1:
                winding = windings[0]
                if winding.leads[0] == "0":
                    tap = min(
                        (lead for lead in winding.leads[1:]),
                        key=lambda t: abs(float(re.sub(r"[ab]$", "", t)) - self.mains_volts),
                    )
                    return draft.name, f"{winding.name} {tap}", f"{winding.name} 0"
                return draft.name, f"{winding.name} {winding.leads[0]}", f"{winding.name} {winding.leads[-1]}"
        return None


def _feeds(draft: Draft) -> bool:
    """Whether a part may bring the mains to a primary that it is on."""
    values = {name: q.value for name, q in draft.values.items()}
    if draft.kind == "resistor":
        return values.get("ohms", 0.0) < MOST_OHMS
    if draft.kind == "lamp":
        return values.get("volts", 0.0) < MOST_OHMS * values.get("amps", 0.0)
    return draft.kind in FEEDS
