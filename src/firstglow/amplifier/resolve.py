"""From drafts and joints to the frozen Amplifier."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from firstglow.amplifier.attributes import kinds
from firstglow.amplifier.bases import bases
from firstglow.amplifier.defaults import capacitor_type, fill
from firstglow.amplifier.digest import digest
from firstglow.amplifier.drafts import Draft, Place, lead_names
from firstglow.amplifier.drawn_loops import settle_links
from firstglow.amplifier.fed import fed
from firstglow.amplifier.guesses import bias_pots, other_joint
from firstglow.amplifier.joints import SPECIAL, Groups, Node, Scopes, canonical, natural, terminal
from firstglow.amplifier.lines import dotted
from firstglow.amplifier.mistakes import Mistakes, nearest
from firstglow.amplifier.model import Amplifier, DefaultUsed, IdleTarget, Joint, Link, Origin, Part, Quantity, Winding
from firstglow.amplifier.transformers import HT_GUESS_AMPS, mains_windings, output_windings
from firstglow.amplifier.windings import WindingText
from firstglow.quantities import example, read_value

# 1 sigma of new valves; reproduces makers' acceptance limits (perveance 7 to 10 %, mu 2.5 to 4 %, contact 0.07 V).
SPREADS: Mapping[str, float] = {"perveance": 0.08, "mu": 0.03, "contact": 0.07}


@dataclass
class Head:
    """What the file says of the amplifier as a whole."""

    name: str
    drawing: str
    mains_volts: float
    mains_hz: float
    channels: tuple[str, ...]
    mains_spread: float
    fragment: bool
    floating: list[Place]
    spreads: dict[str, dict[str, float]]
    defaults: list[DefaultUsed] = field(default_factory=list)


class Resolver:
    """Builds the Amplifier; one use."""

    def __init__(self, head: Head, scopes: Scopes, groups: Groups, mistakes: Mistakes) -> None:
        self.head, self.scopes, self.groups, self.mistakes = head, scopes, groups, mistakes
        self.defaults = list(head.defaults)
        self.kinds = {d.name: d.kind for d in scopes.drafts.values()}
        self.link_said: dict[str, frozenset[str]] = {}

    def run(self, layers: tuple[str, ...]) -> Amplifier:
        """The frozen amplifier; notes what cannot be used."""
        for draft in self.scopes.drafts.values():  # a lead that nothing mentions is a joint of its own
            for lead in lead_names(draft):
                self.groups.add(("lead", draft.name, lead))
        self._glass()
        sets = self.groups.sets()
        names = {nodes: canonical(nodes, self.kinds) for nodes in sets}
        where = {terminal(n): names[nodes] for nodes in sets for n in nodes if n[0] == "lead"}
        floating = {self.groups.top(n) for n in self._floating()}
        ordered = sorted(self.scopes.drafts.values(), key=self._order)
        parts = {d.name: self._part(d, where) for d in ordered}
        joints = self._joints(names, floating, parts)
        self._both_leads(parts)
        links = self._links(parts)
        amplifier = Amplifier(
            name=self.head.name,
            drawing=self.head.drawing,
            mains_volts=self.head.mains_volts,
            mains_hz=self.head.mains_hz,
            channels=self.head.channels,
            parts=parts,
            joints=joints,
            links=links,
            idle=self._idle(parts),
            aliases=self._aliases(joints, parts),
            mains_spread=self.head.mains_spread,
            spreads=self.head.spreads,
            defaults=tuple(self.defaults),
            file=self.mistakes.file,
            layers=layers,
            lines={dotted(p): n for p, n in self.mistakes.lines.items()},
            fragment=self.head.fragment,
            not_used=tuple(self._not_used(parts)),
        )
        if not self.mistakes.broken and not self.mistakes.found:
            amplifier = settle_links(amplifier, self.link_said)
        return replace(amplifier, digest=digest(amplifier))

    def _order(self, draft: Draft) -> tuple[object, ...]:
        channel = self.head.channels.index(draft.channel) + 1 if draft.channel in self.head.channels else 0
        return (channel, draft.kind == "heater", natural(draft.name))

    def _glass(self) -> None:
        """Join cathodes to heaters where the valve does so itself."""
        for draft in self.scopes.drafts.values():
            if draft.base is not None and draft.base.joined and draft.kind in {"valve", "rectifier"}:
                ends = ("2", "1") if draft.kind == "rectifier" else ("1", "2")
                cathode = self.groups.top(("lead", draft.name, "cathode"))
                stands = {e: self.groups.top(("lead", f"{draft.envelope} heater", e)) == cathode for e in ends}
                # a cathode drawn on the filament's other end is on the filament: both ends would short it
                end = ends[1] if stands[ends[1]] else ends[0]
                self.groups.join(("lead", draft.name, "cathode"), ("lead", f"{draft.envelope} heater", end))

    def _floating(self) -> list[Node]:
        nodes = [n for p in self.head.floating for n in self._meant_to_float(p)]
        return [n for n in nodes if n is not None and n in self.groups.above]

    def _meant_to_float(self, place: Place) -> list[Node | None]:
        """A joint or terminal, or every lead of a winding ("T1 rect")."""
        part, rest, _ = self.scopes.find(" ".join(place.text.split()), None)
        if part is not None and rest in self.scopes.drafts[part].windings:
            winding, _origin = self.scopes.drafts[part].windings[rest]
            return [("lead", part, f"{rest} {lead}") for lead in winding.leads]
        return [self.scopes.node(place, "floating")]

    def _joints(
        self, names: Mapping[frozenset[Node], str], floating: set[Node], parts: Mapping[str, Part]
    ) -> dict[str, Joint]:
        found = {}
        for nodes, name in names.items():
            leads = sorted((n for n in nodes if n[0] == "lead"), key=lambda n: (natural(n[1]), natural(n[2])))
            if not leads:
                if name not in SPECIAL:
                    continue
                if name != "chassis":
                    continue
            aliases = tuple(sorted((n[1] for n in nodes if n[0] == "name" and n[1] != name), key=natural))
            centre = len(leads) == 1 and leads[0][2] == "ct" and self.kinds[leads[0][1]] == "heater"
            line = min((self.scopes.drafts[n[1]].line for n in leads if self.scopes.drafts[n[1]].line), default=0)
            found[name] = Joint(
                name,
                tuple(terminal(n) for n in leads),
                aliases,
                self._channel(name, leads, parts),
                self.groups.top(next(iter(nodes))) in floating or centre,
                line,
            )
        return dict(
            sorted(
                found.items(), key=lambda kv: (self._channel_rank(kv[1].channel), kv[0] not in SPECIAL, natural(kv[0]))
            )
        )

    def _channel_rank(self, channel: str | None) -> int:
        return self.head.channels.index(channel) + 1 if channel in self.head.channels else 0

    def _channel(self, name: str, leads: list[Node], parts: Mapping[str, Part]) -> str | None:
        if name in SPECIAL:
            return None
        channels = {parts[n[1]].channel for n in leads}
        if len(channels) == 1:
            return channels.pop()
        return next((c for c in self.head.channels if name.startswith(f"{c} ")), None)

    # -- parts -----------------------------------------------------------------------------------------------------
    def _part(self, draft: Draft, where: Mapping[str, str]) -> Part:
        leads = {lead: where[f"{draft.name} {lead}"] for lead in lead_names(draft)}
        values = dict(draft.values)
        windings: tuple[Winding, ...] = ()
        self._required(draft, values)
        if draft.kind == "capacitor" and draft.type is None:
            draft.type = capacitor_type(values["farads"].value)
        if draft.kind == "transformer":
            windings = self._mains_windings(draft, values, where)
        fill(draft, values, self.defaults.append)
        if draft.kind in {"valve", "rectifier"}:
            self._spread(draft, values)
        if draft.kind == "output transformer":
            windings = output_windings(draft, values)
        values.pop("primary_volts", None)
        words = {k: v for k, v in draft.words.items() if k != "set_by"}
        twin = self._twin(draft)
        aliases = (
            (f"{draft.channel} {draft.local}",)
            if draft.channel and f"{draft.channel} {draft.local}" != draft.name
            else ()
        )
        return Part(
            draft.name,
            draft.kind,
            draft.type,
            leads,
            dict(sorted(values.items())),
            dict(sorted(words.items())),
            windings,
            draft.envelope,
            draft.channel,
            twin,
            aliases,
            draft.origin,
            dict(sorted(draft.measured_from.items())),
        )

    def _spread(self, draft: Draft, values: dict[str, Quantity]) -> None:
        own = self.head.spreads.get(draft.type or "", {}) | {}
        common = self.head.spreads["*"]
        for name in ("perveance", "mu", "contact"):
            said = values.get(name)
            if said is not None and said.origin.layer == "default":
                values[name] = replace(said, spread=own.get(name, common[name]), shape="normal")

    def _required(self, draft: Draft, values: dict[str, Quantity]) -> None:
        """Note what a part cannot be used without; a stand-in lets the rest of the file be judged."""
        for row in kinds()[draft.kind].attributes.values():
            if not row.required or row.name in values:
                continue
            if not self.mistakes.blames(draft.name):
                first = kinds()[draft.kind].example.split('"')
                remedy = f'"{first[1]}"' if len(first) > 1 else row.name
                found = f"a {draft.kind} without {row.name}"
                self.mistakes.add(draft.line, draft.name, found, f"{row.name}: {row.text}", remedy)
            values[row.name] = Quantity(read_value(example(row.unit).strip('"'), row.unit), 0.0, "exact", draft.origin)

    def _mains_windings(
        self, draft: Draft, values: dict[str, Quantity], where: Mapping[str, str]
    ) -> tuple[Winding, ...]:
        values["primary_volts"] = Quantity(self.head.mains_volts)
        if not any(w.primary for w, _ in draft.windings.values()):
            values.setdefault("volt_amps", Quantity(1.0))
            if not draft.lost:
                remedy = f'{{ primary = "{self.head.mains_volts:g}V" }}'
                allowed = "a winding whose name begins with primary"
                self.mistakes.add(draft.line, draft.name, "a mains transformer without a primary", allowed, remedy)
            return ()
        windings, load = mains_windings(
            draft,
            self.head.mains_volts,
            lambda w: fed(self.scopes.drafts.values(), draft, w, where),
            lambda w, r: self._guess(draft, w, r, where),
            self.defaults.append,
            lambda w: tuple(where[f"{draft.name} {w.name} {lead}"] for lead in w.leads),
        )
        values.setdefault("volt_amps", Quantity(load, 0.3, "uniform", Origin("default", 0)))
        return windings

    def _guess(self, draft: Draft, winding: WindingText, rectified: bool, where: Mapping[str, str]) -> float:
        """Rated amps of a winding that states none: its heaters' sum, or what its valves are likely to draw."""
        if winding.amps is not None:
            return winding.amps
        ends = {where[f"{draft.name} {winding.name} {lead}"] for lead in winding.leads}
        heaters = [d for d in self.scopes.drafts.values() if d.kind == "heater" and where[f"{d.name} 1"] in ends]
        if heaters and not rectified:
            return sum(_heater_amps(h, winding) for h in heaters)
        if rectified and winding.volts > 100:
            sections = [
                d
                for d in self.scopes.drafts.values()
                if d.kind == "valve" and d.section is not None and d.base is not None
            ]
            power = sum(
                1
                for d in sections
                if d.section and d.section.kind == "pentode" and d.base and d.base.heaters[-1][1] > 0.44
            )
            return max(0.03, 0.045 * power + 0.003 * (len(sections) - power)) if sections else HT_GUESS_AMPS
        return 0.02 if rectified else 1.0

    def _twin(self, draft: Draft) -> str | None:
        if draft.channel is None or len(self.head.channels) != 2:
            return None
        other = next(c for c in self.head.channels if c != draft.channel)
        found = self.scopes.names.get((other, draft.local))
        return found if found in self.scopes.drafts else None

    def _both_leads(self, parts: Mapping[str, Part]) -> None:
        several = {"valve", "heater", "transformer", "output transformer"}
        for part in parts.values():
            if part.kind in several or len(part.leads) < 2 or len(set(part.leads.values())) > 1:
                continue
            joint = next(iter(part.leads.values()))
            last = list(part.leads)[-1]
            found, allowed = f"both leads on one joint, {joint}", f"another joint for lead {last}"
            remedy = other_joint(part, joint, parts)
            self.mistakes.broken = True  # what it should feed is fed from nowhere: not another mistake
            self.mistakes.add(part.origin.line, part.name, found, allowed, remedy)

    # -- links, idle, aliases --------------------------------------------------------------------------------------
    def _links(self, parts: Mapping[str, Part]) -> dict[str, Link]:
        found: dict[str, Link] = {}
        for draft in self.scopes.drafts.values():
            if draft.link is None:
                continue
            name, lead, tie = draft.link
            full = f"{draft.channel} {name}" if draft.channel else name
            if full in found:
                self.mistakes.add(
                    draft.line, draft.name, f"a second link named {name}", "one name a link", f'link = "{name} 2"'
                )
                continue
            joint = None
            if tie is not None:
                node = self.scopes.node(Place(tie, draft.channel, draft.line), draft.name)
                joint = self._joint_of(node, draft, tie)
            found[full] = Link(full, draft.name, lead, joint, draft.channel)
            self.link_said[full] = draft.link_said
        return dict(sorted(found.items(), key=lambda kv: (self._channel_rank(kv[1].channel), natural(kv[0]))))

    def _joint_of(self, node: Node | None, draft: Draft, text: str) -> str | None:
        if node is None:
            return None
        if node not in self.groups.above:
            names = [n[1] for n in self.groups.above if n[0] == "name"]
            self.mistakes.add(
                draft.line,
                draft.name,
                f"there is no joint {text!r}",
                "a joint of this amplifier",
                f'"{nearest(text, names) or "chassis"}"',
            )
            return None
        top = self.groups.top(node)
        return canonical([n for n in self.groups.above if self.groups.top(n) == top], self.kinds)

    def _idle(self, parts: Mapping[str, Part]) -> dict[str, IdleTarget]:
        found = {}
        for name in parts:
            draft = self.scopes.drafts[name]
            by = draft.words.get("set_by")
            pot = self.scopes.find(str(by), draft.channel)[0] if by else None
            if by and (pot is None or self.scopes.drafts[pot].kind != "pot"):
                pots = bias_pots(self.scopes.drafts, draft)
                near = nearest(str(by), pots) or next(iter(pots), None)
                self.mistakes.add(
                    draft.line,
                    name,
                    f"set_by = {by!r}",
                    "a pot: " + ", ".join(pots) if pots else "a pot, and there is none here",
                    f'set_by = "{near}"' if near else "taking set_by out",
                )
            if draft.idle is not None:
                found[name] = IdleTarget(
                    name, replace(draft.idle[0], spread=0.0, shape="exact"), draft.idle[0].spread, pot
                )
        return found

    def _aliases(self, joints: Mapping[str, Joint], parts: Mapping[str, Part]) -> dict[str, str]:
        found: dict[str, str] = {}
        for part in parts.values():
            for other in part.aliases:
                found[other] = part.name
            draft = self.scopes.drafts[part.name]
            for lead, stands_on in part.leads.items():
                found[f"{part.name} {lead}"] = stands_on
                for other in part.aliases:
                    found[f"{other} {lead}"] = stands_on
            if isinstance(gang := draft.words.get("gang"), str):
                found.setdefault(gang, part.name)
        for joint in joints.values():
            for other in joint.aliases:
                found[other] = joint.name
        return {
            k: v
            for k, v in sorted(found.items(), key=lambda kv: natural(kv[0]))
            if k != v and k not in joints and k not in parts
        }

    def _not_used(self, parts: Mapping[str, Part]) -> list[str]:
        return [
            f"{p.name} {n}"
            for p in parts.values()
            for n, q in p.values.items()
            if kinds()[p.kind].attributes[n].used == "not used yet" and q.origin.layer != "default"
        ]


def _heater_amps(heater: Draft, winding: WindingText) -> float:
    """Amps of a heater on a winding: the data sheet's figure for the winding's volts."""
    base = bases()[heater.type or ""]
    return min(base.heaters, key=lambda h: abs(h[0] - winding.volts))[1]
