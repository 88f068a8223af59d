"""What to do about a heater that is too hot or too cold: it is its whole line's, all on it are as hot."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from firstglow.amplifier.model import Part
from firstglow.amplifier.roles import HeaterWinding
from firstglow.audit.moves import running
from firstglow.audit.pieces import Item, Made, wirewound
from firstglow.audit.proposal import Proposal
from firstglow.audit.stress import Stress
from firstglow.audit.stress_passive import AIR, derate
from firstglow.audit.ways import Stood
from firstglow.devices.emission import HEATER_POWER
from firstglow.markings.made import made_watts
from firstglow.markings.series import next_down, next_up, preferred
from firstglow.quantities import show
from firstglow.solver.heaters import as_wired
from firstglow.solver.nodes import CHASSIS

LOW = 0.9
"""Part of its rated volts below which a heater is too cold (common practice)."""


def heater(stood: Stood, part: Part, by: Mapping[str, Stress], pressing: Sequence[Stress]) -> Proposal:
    """Of its whole heater line: all on it are as hot."""
    high = by["heater volts"]
    rated = (high.rating or 0.0) / 1.1
    line = next((h for h in stood.roles.heater_windings if part.envelope in h.envelopes), None)
    if all(s.mains_alone for s in pressing):
        return Proposal(
            "leave it while the mains are on their mark: it follows them alone; mains that stay off it are brought back "
            "(firstglow mains)", "", "nothing",
        )  # fmt: skip
    dc = _DcLine.of(stood, part, line) if line is not None and line.supply is not None else None
    if dc is not None:
        told, after, piece = dc.told()
        lives = "hotter than its rating a heater lives shorter" if dc.volts > rated else "starved, a cathode wears out"
        changes = f"its heater {dc.volts:.2f} V to about {after:.2f} V, to be read warm; {lives}"
        return Proposal(told, "", changes, items=() if piece is None else (piece,))
    if high in pressing:
        told = _dropping(stood, line) if line is not None else ""
        return Proposal(
            f"the primary's tap for these mains (firstglow mains){f', or {told}' if told else ''}", "",
            f"its heater {high.value:.2f} V to {rated:.2f} V; hotter than its rating a heater lives shorter",
        )  # fmt: skip
    return Proposal(
        "the primary's tap for these mains; look for ohms in the heater line and its pins", "", "heater volts rise"
    )


@dataclass(frozen=True, slots=True)
class _DcLine:
    """A heater on rectified volts as it runs. volts across it, rated ones as it is wired [V]; top: the far end of its string, its
    volts to the line's return; feed: the resistor that carries it, "" where none does; heaters: of the line; k: the column."""

    stood: Stood
    part: Part
    volts: float
    rated: float
    top: str
    top_volts: float
    feed: str
    heaters: tuple[Part, ...]
    k: int

    @classmethod
    def of(cls, stood: Stood, part: Part, line: HeaterWinding) -> "_DcLine | None":
        k, back = running(stood), str(line.reference_joint or CHASSIS)
        heaters = tuple(p for p in stood.amplifier.of_kind("heater") if p.envelope in line.envelopes)
        joints = {j for j in part.leads.values() if j != back}
        while (
            more := {j for p in heaters if joints & set(p.leads.values()) for j in p.leads.values()} - joints - {back}
        ):
            joints |= more
        if not joints:
            return None

        def above(joint: str) -> float:
            return abs(float(stood.dc(joint)[k] - stood.dc(back)[k]))

        top = max(sorted(joints), key=above)
        volts, rated = abs(float(stood.row(part.name)["heater_volts"][k])), as_wired(part)[0]
        amps = {
            r.name: abs(float(stood.row(r.name)["amps"][k]))
            for r in stood.amplifier.of_kind("resistor")
            if top in r.leads.values() and back not in r.leads.values()
        }
        # a divider that lifts the line hangs there too: what feeds it carries most of it
        drawn = sum(_drawn(p, stood, k) for p in heaters if top in p.leads.values())
        feed = max(amps, key=lambda name: amps[name], default="")
        feed = feed if feed and amps[feed] > 0.5 * drawn else ""
        return cls(stood, part, volts, rated, top, above(top), feed, heaters, k)

    def told(self) -> tuple[str, float, Item | None]:
        """Ohms that bring it to its mark, the volts that it then has, and what is bought: in place of the resistor that feeds it,
        solved with each; a resistor of its own by hand, its rectified volts taken to stay."""
        share = self.rated / self.volts
        drawn = sum(_drawn(p, self.stood, self.k) for p in self.heaters if self.top in p.leads.values())
        amps = drawn * share**HEATER_POWER
        if not self.feed:
            ohms = self.top_volts * (1.0 - share) / amps
            if ohms <= 0.0:
                return f"more rectified volts: nothing in its lead to {self.top} is too many ohms", self.volts, None
            told = _words(self._made(preferred(ohms, "E24"), amps))
            return f"{told} in the lead to {self.top}, for all heaters on it", self.rated, None
        old = self.stood.amplifier.parts[self.feed].value("ohms")
        ohms, top, through = old, self.top_volts, abs(float(self.stood.row(self.feed)["amps"][self.k]))
        for _ in range(ROUNDS):  # as less is drawn the rectified volts rise
            ohms = (ohms * through + top * (1.0 - share)) / (through * share**HEATER_POWER)
            if ohms <= 0.0:
                volts, *_ = self._with(1e-3)
                return (
                    (
                        f"more rectified volts: with no ohms at all for {self.feed} ({show(old, 'ohm')}) it has {volts:.2f} V"
                    ),
                    volts,
                    None,
                )
            volts, top, through, _ = self._with(ohms)
            share = self.rated / volts
        fitted = preferred(ohms, "E24")
        if (fitted - old) * (self.volts - self.rated) <= 0.0:  # the mark lies within half a step of what is there
            fitted = next_up(1.001 * old, "E24") if self.volts > self.rated else next_down(0.999 * old, "E24")
        volts, _, through, others = self._with(fitted)
        made = self._made(fitted, through)
        starved = ", ".join(f"{name} then has {v:.2f} V of {r:g}" for name, (v, r) in others.items() if v < LOW * r)
        but = f"; but {starved}: not on one line with it" if starved and volts >= LOW * self.rated else ""
        told = f"{_words(made)} in place of {self.feed} ({show(old, 'ohm')}){but}"
        # one that starves its neighbours is not bought
        return told, volts, None if but else Item(1, made, "feeds heaters", for_part=self.feed, over=True)

    def _made(self, ohms: float, amps: float) -> Made:
        """Made so that the audit finds it half used in a warm chassis, on the highest mains."""
        most = 1.0
        if self.feed:
            each = np.abs(self.stood.row(self.feed)["amps"]) * self.stood.where(cold=False)
            most = max(1.0, float(each.max()) / float(each[self.k]))
        needs = 2.0 * ohms * (amps * most) ** 2 / derate("wirewound", AIR)
        return wirewound(ohms, made_watts(max(needs, 3.0), "wirewound") or needs)

    def _with(self, ohms: float) -> tuple[float, float, float, dict[str, tuple[float, float]]]:
        """Its volts, those of the top, amps of the feed, and envelope -> (volts, rated) of the others, with other ohms in the feed."""
        p = np.array(self.stood.standing.values[:, self.k])
        p[self.stood.circuit.column[f"{self.feed} ohms"]] = ohms
        now = self.stood.circuit.solve(p, self.stood.standing.x[:, self.k], strict=False)
        volts = {h.envelope: abs(float(now.part(h.name)["heater_volts"][0])) for h in self.heaters}
        others = {
            str(h.envelope): (volts[h.envelope], as_wired(h)[0]) for h in self.heaters if h.name != self.part.name
        }
        own = volts[self.part.envelope]
        return own, self.top_volts * own / self.volts, abs(float(now.part(self.feed)["amps"][0])), others


ROUNDS = 4
"""How often the ohms are worked out anew; each leaves a tenth of what the one before missed."""


def _drawn(part: Part, stood: Stood, k: int) -> float:
    """Amps of a heater as it runs, as its leads are wired [A]."""
    volts, amps = as_wired(part)
    return float(amps * (abs(stood.row(part.name)["heater_volts"][k]) / volts) ** HEATER_POWER)


def _words(made: Made) -> str:
    """In bench words."""
    return f"{show(made.values['ohms'], 'ohm')} {made.values['watts']:g} W wirewound"


def _dropping(stood: Stood, line: HeaterWinding) -> str:
    """Ohms for a whole heater line, the very ones of ``firstglow mains``: one in each lead, so that a centre tap stays in the middle."""
    from firstglow.audit.figures import heaters
    from firstglow.audit.mains_heaters import LEAST_WATTS, TWICE, dropping

    k = running(stood)
    mine = {e: v for e, v in heaters(stood.amplifier, stood.standing, k).items() if e in line.envelopes}
    found = dropping(stood.amplifier, line, mine)
    if found is None:
        return ""
    each, count, amps = found
    watts = made_watts(max(TWICE * each * amps**2, LEAST_WATTS), "wirewound")
    where = f"in each of the {count} leads" if count > 1 else "in one lead"
    return (
        f"{each:.2g} ohm {f'{watts:g} W' if watts else 'wirewound'} {where} of heater line {line.name}, for all on it"
    )
