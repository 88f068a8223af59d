"""Everything whose current is in proportion to volts: resistances, windings on their core, leakage, bench supplies.

A *pull* is a coefficient times a difference of two unknowns, leaving some rows: a resistor's current, or a winding's
share in the amp-turns of its core. Coefficients follow from the parameters alone, so all of this is set once a solution.
"""

from collections.abc import Callable

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.solver.frame import Array, Coefficients, Frame
from firstglow.solver.nodes import CHASSIS, GROUNDED, free_end
from firstglow.solver.parameters import CONTACT_OHMS, INSULATION_SIEMENS, OPEN_OHMS
from firstglow.solver.stamps import merge

CENTRE_SIEMENS = 1e-5
"""How firmly the pulses hold a bridge's winding in the middle [S]; only a meter on it would notice."""

Maker = Callable[[Array], Array]


def siemens(ohms: Array) -> Array:
    """Conductance of a resistance that is never less than a contact's."""
    return 1.0 / np.maximum(ohms, CONTACT_OHMS)


class LinearParts:
    """Collects pulls and constant feeds; one coefficient may serve several pulls (dc and ac of one resistor)."""

    constant = True

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self.makers: list[Maker] = []
        self.ohms_rows: list[int] = []
        self.siemens_rows: list[int] = []
        self.pulls: list[tuple[tuple[str, int], int, int, dict[int, float]]] = []
        self.feeds: list[tuple[int, dict[int, float]]] = []
        self.pots: dict[str, list[tuple[str, int]]] = {}
        self.terms = self.slopes = 0

    # -- coefficients -------------------------------------------------------------------------------------------
    def by_ohms(self, row: int) -> tuple[str, int]:
        """A coefficient 1/ohms of a parameter row."""
        self.ohms_rows.append(row)
        return "ohms", len(self.ohms_rows) - 1

    def by_siemens(self, row: int) -> tuple[str, int]:
        """A coefficient that is a parameter row itself."""
        self.siemens_rows.append(row)
        return "siemens", len(self.siemens_rows) - 1

    def by(self, maker: Maker) -> tuple[str, int]:
        """A coefficient computed from the whole parameter vector."""
        self.makers.append(maker)
        return "made", len(self.makers) - 1

    # -- pulls ----------------------------------------------------------------------------------------------------
    def pull(self, coefficient: tuple[str, int], a: int, b: int, rows: dict[int, float]) -> None:
        """coefficient * (x[a] - x[b]), leaving ``rows``."""
        if a != b:
            self.pulls.append((coefficient, a, b, rows))

    def conduct(self, coefficient: tuple[str, int], one: str, two: str, dc: bool = True, ac: bool = True) -> None:
        """A conductance between two nodes, wherever both can carry that kind of current."""
        f = self.frame
        if one == two:
            return
        if dc:
            a, b = f.dc(one), f.dc(two)
            self.pull(coefficient, a, b, merge((a, 1.0), (b, -1.0)))
        if ac and f.carries_ac(one) and f.carries_ac(two):
            a, b = f.ac(one), f.ac(two)
            self.pull(coefficient, a, b, merge((a, 1.0), (b, -1.0)))
            a, b = (f.index.get(f"quadrature {n}", f.ground) for n in (one, two))
            self.pull(coefficient, a, b, merge((a, 1.0), (b, -1.0)))

    def feed(self, maker: Maker, rows: dict[int, float]) -> None:
        """A constant current leaving ``rows``."""
        self.makers.append(maker)
        self.feeds.append((len(self.makers) - 1, rows))

    # -- a group --------------------------------------------------------------------------------------------------
    def finish(self) -> None:
        """Enter everything into the plan, in the order that ``flows`` fills."""
        plan = self.frame.plan
        base = {"ohms": 0, "siemens": len(self.ohms_rows)}
        base["made"] = base["siemens"] + len(self.siemens_rows)
        for _, a, b, rows in self.pulls:
            plan.slope(plan.term(rows), merge((a, 1.0), (b, -1.0)))
        for _, rows in self.feeds:
            plan.term(rows)
        self.which = np.array([base[kind] + k for (kind, k), *_ in self.pulls], dtype=int)
        self.fed = np.array([base["made"] + k for k, _ in self.feeds], dtype=int)
        self.a = np.array([a for _, a, _, _ in self.pulls], dtype=int)
        self.b = np.array([b for _, _, b, _ in self.pulls], dtype=int)
        self.slopes = len(self.pulls)
        self.terms = self.slopes + len(self.feeds)

    def pot_pulls(self, pot: str) -> tuple[list[int], list[Maker]]:
        """The pulls of one pot, by number, and what makes the coefficient of each from the parameters."""
        sides = self.pots[pot]
        chosen = [(k, c) for k, (c, *_) in enumerate(self.pulls) if c in sides]
        return [k for k, _ in chosen], [self.makers[c[1]] for _, c in chosen]

    def prepare(self, p: Array) -> Coefficients:
        """``pull`` and ``feed``: the coefficients, in order."""
        ohms, known = len(self.ohms_rows), len(self.ohms_rows) + len(self.siemens_rows)
        table = np.empty((known + len(self.makers), p.shape[1]))
        table[:ohms] = siemens(p[self.ohms_rows])
        table[ohms:known] = p[self.siemens_rows]
        for row, maker in zip(table[known:], self.makers, strict=True):
            row[:] = maker(p)
        return {"pull": table[self.which], "feed": table[self.fed]}

    def flows(self, x: Array, c: Coefficients, terms: Array, slopes: Array) -> None:
        """Currents of all pulls, then the feeds; the slopes are the coefficients."""
        n = self.slopes
        # in the room given: fresh memory for the two ends would cost three times the arithmetic
        x.take(self.a, axis=0, out=terms[:n], mode="clip")
        x.take(self.b, axis=0, out=slopes, mode="clip")
        terms[:n] -= slopes
        terms[:n] *= c["pull"]
        terms[n:] = c["feed"]
        slopes[:] = c["pull"]


def plan_linear(frame: Frame) -> LinearParts:
    """All linear parts of the amplifier."""
    parts = LinearParts(frame)
    for part in frame.amplifier.parts.values():
        _BY_KIND.get(part.kind, _nothing)(parts, part)
    _links(parts)
    _centres(parts)
    _insulation(parts)
    rest = frame.index.get("lamp harmonics")
    if rest is not None:
        parts.pull(parts.by(_one), rest, frame.ground, {rest: 1.0})
    parts.finish()
    return parts


def _nothing(parts: LinearParts, part: Part) -> None:
    """Kinds without a linear current."""


def _two_leads(parts: LinearParts, part: Part) -> None:
    f = parts.frame
    one, two = (f.lead(part, lead) for lead in ("1", "2"))
    parts.conduct(parts.by_ohms(f.rows.of(part, "ohms")), one, two)


def _capacitor(parts: LinearParts, part: Part) -> None:
    f = parts.frame
    plus, minus = (f.lead(part, lead) for lead in ("+", "-"))
    parts.conduct(parts.by_ohms(f.rows.of(part, "leak_ohms")), plus, minus)
    farads, esr = f.rows.of(part, "farads"), f.rows.of(part, "esr_ohms")
    if f.carries_ac(plus) and f.carries_ac(minus):
        hertz = f.rows.fixed("mains hertz", f.amplifier.mains_hz)

        def reactance(p: Array) -> Array:
            # what the windings' ac meets; its quadrature is left out (these joints are at rest or nearly so)
            w = 2.0 * np.pi * p[hertz] * p[farads]
            return np.asarray(w / (1.0 + w * p[esr]))

        parts.conduct(parts.by(reactance), plus, minus, dc=False)


def _pot(parts: LinearParts, part: Part) -> None:
    """The star of two track lengths and the wiper's contact, as the triangle between its leads."""
    f = parts.frame
    rows = [f.rows.of(part, a) for a in ("ohms", "position", "wiper_ohms")]

    def star(p: Array) -> tuple[Array, Array, Array, Array]:
        track, at, wiper = (p[r] for r in rows)
        one, two, three = siemens(track * at), siemens(track * (1.0 - at)), siemens(wiper)
        return one, two, three, one + two + three

    def side(i: int, j: int) -> Maker:
        def maker(p: Array) -> Array:
            arms = star(p)
            # never a product of two open arms over a sum that has lost them
            return arms[i] * (arms[j] / arms[3])

        return maker

    leads = [f.lead(part, lead) for lead in ("end 1", "end 2", "wiper")]
    sides = parts.pots[part.name] = [parts.by(side(i, j)) for i, j in ((0, 1), (0, 2), (1, 2))]
    for coefficient, (i, j) in zip(sides, ((0, 1), (0, 2), (1, 2)), strict=True):
        parts.conduct(coefficient, leads[i], leads[j])
    short = f.rows.fixed(f"{part.name} short siemens", 0.0, part.name, "short siemens")
    parts.conduct(parts.by_siemens(short), leads[0], leads[1])


def _windings(parts: LinearParts, part: Part) -> None:
    f = parts.frame
    for w in part.windings:
        ends = f.lead(part, w.start), f.lead(part, w.end)
        ohms = f.rows.quantity(f"{part.name} {w.name} ohms", part.name, f"{w.name} ohms", w.ohms)
        turns = f.rows.quantity(f"{part.name} {w.name} turns", part.name, f"{w.name} turns", w.turns)
        short = f.rows.fixed(f"{part.name} {w.name} short siemens", 0.0, part.name, f"{w.name} short siemens")
        parts.conduct(parts.by_siemens(short), *ends)
        if part.kind != "transformer":
            parts.conduct(parts.by_ohms(ohms), *ends)
            continue
        parts.conduct(parts.by_ohms(ohms), *ends, ac=False)
        _on_core(parts, part, w.role == "primary", ends, ohms, turns)


def _on_core(parts: LinearParts, part: Part, primary: bool, ends: tuple[str, str], ohms: int, turns: int) -> None:
    """A winding's ac: (start - end - turns * core volts) / ohms, and its amp-turns in the core's rows.

    Turns are counted against the nominal mains volts, so that the core's unknown is volts of the primary.
    """
    f = parts.frame
    per = 1.0 / f.amplifier.mains_volts
    g = parts.by_ohms(ohms)
    gn = parts.by(lambda p: siemens(p[ohms]) * (p[turns] * per))
    gnn = parts.by(lambda p: siemens(p[ohms]) * (p[turns] * per) ** 2)
    phases = [("ac", "core in phase"), ("quadrature", "core quadrature")] if primary else [("ac", "core")]
    for volts, core in phases:
        a, b = (f.index.get(f"{volts} {n}", f.ground) for n in ends)
        u = f.index[f"{core} {part.name}"]
        balance = f.index[f"{core} {part.name}"] if primary else f.index[f"core load {part.name}"]
        out = merge((a, 1.0), (b, -1.0))
        parts.pull(g, a, b, out)
        parts.pull(gn, f.ground, u, out)
        parts.pull(gn, a, b, {balance: 1.0})
        parts.pull(gnn, f.ground, u, {balance: 1.0})


def _core_loss(parts: LinearParts, part: Part) -> None:
    """load row: load = loss current - sum of the secondaries' amp-turns (the windings put those in themselves)."""
    f = parts.frame
    loss = f.rows.of(part, "core_loss_watts")
    square = f.amplifier.mains_volts**2
    load, core = f.index[f"core load {part.name}"], f.index[f"core {part.name}"]
    parts.pull(parts.by(_one), load, f.ground, {load: 1.0})
    parts.pull(parts.by(lambda p: p[loss] / square), f.ground, core, {load: 1.0})


def _one(p: Array) -> Array:
    return np.ones(p.shape[1], dtype=p.dtype)


def heater_ends(part: Part) -> tuple[str, str]:
    """The leads that its line is between: halves in parallel have theirs on one joint, the tap on the other."""
    return ("1", "ct") if "ct" in part.leads and part.leads["1"] == part.leads["2"] else ("1", "2")


def _filament(parts: LinearParts, part: Part) -> None:
    """A heater's or pilot lamp's dc path where its heat is a winding's, and what a fault lays across it."""
    f = parts.frame
    volts, amps = f.rows.of(part, "volts"), f.rows.of(part, "amps")
    fitted = f.rows.fixed(f"{part.name} fitted", 1.0, part.name, "fitted")
    inside = f.rows.fixed("always", 1.0) if part.envelope is None else f.envelope_row(part.envelope)
    short = f.rows.fixed(f"{part.name} short siemens", 0.0, part.name, "short siemens")
    ends = [f.lead(part, lead) for lead in heater_ends(part)]
    parts.conduct(parts.by(lambda p: p[short] * p[inside]), ends[0], ends[1])
    pieces = [("1", "ct"), ("ct", "2")] if "ct" in part.leads else [("1", "2")]
    hot = parts.by(lambda p: len(pieces) * p[amps] / p[volts] * p[fitted] * p[inside])
    if all(f.carries_ac(f.lead(part, lead)) for lead in part.leads):
        for one, two in pieces:
            parts.conduct(hot, f.lead(part, one), f.lead(part, two), ac=False)


def _transformer(parts: LinearParts, part: Part) -> None:
    _windings(parts, part)
    _core_loss(parts, part)


def _load(parts: LinearParts, part: Part) -> None:
    f = parts.frame
    parts.conduct(parts.by_ohms(f.rows.of(part, "ohms")), f.lead(part, "hot"), f.lead(part, "common"), ac=False)


def _input(parts: LinearParts, part: Part) -> None:
    """The shorting plug, or a generator whose output is a low resistance at dc too."""
    f = parts.frame
    row = f.rows.fixed(f"{part.name} source ohms", CONTACT_OHMS, part.name, "source ohms")
    parts.conduct(parts.by_ohms(row), f.lead(part, "hot"), f.lead(part, "ground"), ac=False)


def _supply(parts: LinearParts, part: Part) -> None:
    f = parts.frame
    volts, ohms = f.rows.of(part, "volts"), f.rows.of(part, "ohms")
    a, b = f.lead(part, "+"), f.lead(part, "-")
    parts.conduct(parts.by_ohms(ohms), a, b)
    node = f.ac if part.value("hertz") > 0 else f.dc
    parts.feed(lambda p: -p[volts] * siemens(p[ohms]), merge((node(a), 1.0), (node(b), -1.0)))


def _valve(parts: LinearParts, part: Part) -> None:
    """Leakage from heater to cathode, and the shorts between electrodes that faults close."""
    f = parts.frame
    inside = f.envelope_row(part.envelope)
    heater = f.amplifier.parts.get(f"{part.envelope} heater")
    if heater is not None and "hk_leak_ohms" in part.values:
        leak = f.rows.of(part, "hk_leak_ohms")
        parts.conduct(
            parts.by(lambda p: siemens(p[leak]) * p[inside]), f.lead(heater, "1"), f.lead(part, "cathode"), ac=False
        )
    elif heater is not None and part.leads.get("cathode") not in (None, *heater.leads.values()):
        short = f.rows.fixed(f"{part.name} heater to cathode siemens", 0.0, part.name, "heater to cathode siemens")
        parts.conduct(parts.by(_touching(short, inside)), f.lead(heater, "1"), f.lead(part, "cathode"), ac=False)
    for one, two in SHORTS:
        if one in part.leads and two in part.leads and not (part.name in f.charging and two == "cathode"):
            short = f.rows.fixed(f"{part.name} {one} to {two} siemens", 0.0, part.name, f"{one} to {two} siemens")
            parts.conduct(parts.by(_touching(short, inside)), f.lead(part, one), f.lead(part, two), ac=False)


def _touching(short: int, inside: int) -> Maker:
    return lambda p: p[short] * p[inside]


SHORTS = (
    ("grid", "cathode"), ("plate", "screen"), ("grid", "screen"), ("plate", "grid"), ("screen", "cathode"),
    ("plate", "cathode"), ("plate 1", "cathode"), ("plate 2", "cathode"), ("anode", "cathode"),
)  # fmt: skip
"""Pairs of electrodes that can touch."""


def _links(parts: LinearParts) -> None:
    """A lead with a tie: its free end has a contact to its joint and one to the tie."""
    f = parts.frame
    for link in f.amplifier.links.values():
        if link.tie is None:
            continue
        here = free_end(link.name)
        closed = f.rows.fixed(f"{link.name} link ohms", CONTACT_OHMS, link.part, "link ohms")
        tied = f.rows.fixed(f"{link.name} tie ohms", OPEN_OHMS, link.part, "tie ohms")
        parts.conduct(parts.by_ohms(closed), here, f.amplifier.joint_of(link.part, link.lead))
        parts.conduct(parts.by_ohms(tied), here, link.tie)


def _centres(parts: LinearParts) -> None:
    """A bridge's winding: drawn to the middle of what its rectifiers clamp it to, taking nothing from either side."""
    f = parts.frame
    for joint, start, end in f.centred():
        j, a, b = f.dc(joint), f.dc(start), f.dc(end)
        rows = merge((j, 1.0), (a, -0.5), (b, -0.5))
        coefficient = parts.by(lambda p: np.full(p.shape[1], CENTRE_SIEMENS, dtype=p.dtype))
        parts.pull(coefficient, j, a, rows)
        parts.pull(coefficient, j, b, rows)
    for one, two in f.balanced():
        a, b = f.ac(one), f.ac(two)
        rows = merge((a, 0.5), (b, 0.5))
        coefficient = parts.by(lambda p: np.full(p.shape[1], CENTRE_SIEMENS, dtype=p.dtype))
        parts.pull(coefficient, a, f.ground, rows)
        parts.pull(coefficient, b, f.ground, rows)


def _insulation(parts: LinearParts) -> None:
    """Every joint's stated leakage to chassis; a situation's load resistors and a meter to chassis lie beside it."""
    f = parts.frame
    for node in f.nodes.dc:
        row = f.rows.fixed(f"{node} leak siemens", INSULATION_SIEMENS)
        parts.conduct(parts.by_siemens(row), node, CHASSIS, ac=False)
    for node in (*f.nodes.ac, *f.nodes.mains):
        row = f.rows.fixed(f"{node} ac leak siemens", INSULATION_SIEMENS)
        parts.conduct(parts.by_siemens(row), node, CHASSIS, dc=False)
    for part in f.amplifier.of_kind("inlet"):
        row = f.rows.fixed("neutral earth ohms", CONTACT_OHMS)
        parts.conduct(parts.by_ohms(row), f.lead(part, "neutral"), CHASSIS, dc=False)


_BY_KIND: dict[str, Callable[[LinearParts, Part], None]] = {
    **dict.fromkeys(("resistor", "choke", "fuse", "switch", "wire"), _two_leads),
    "capacitor": _capacitor, "pot": _pot, "transformer": _transformer, "output transformer": _windings,
    "load": _load, "heater": _filament, "lamp": _filament, "gas tube": _valve, "input": _input,
    "supply": _supply, "valve": _valve, "rectifier": _valve, "diode": _valve,
}  # fmt: skip
assert CHASSIS in GROUNDED
