"""Physics worked out on paper for the plan's tests: a resistor network with rectified windings as sources.

Nothing of the solver is used. Valves are resistors, rectifiers give the peak of their winding less a tenth, capacitors
are open. Good to some tens of per cent, which is all that a plan's structure may depend on.
"""

from collections.abc import Mapping, Sequence

import numpy as np

from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.roles import Roles, roles
from firstglow.amplifier.situation import Situation

SMALL, POWER = 60e3, 6e3  # ohm, plate to cathode of a conducting valve
INSULATION = 1e9


class PaperPhysics:
    """Answers the plan's questions by a nodal solution in numpy."""

    def __init__(self, amplifier: Amplifier, gain: float = 30.0, loop_gain: float = 4.0) -> None:
        self.amplifier = amplifier
        self.roles: Roles = roles(amplifier)
        self.open_gain, self.closed_loop_gain = gain, loop_gain
        self._known: dict[str, Mapping[str, tuple[float, float]]] = {}

    def joints(self, situation: Situation) -> Mapping[str, tuple[float, float]]:
        key = repr(
            (situation.mains_volts, sorted(situation.out), sorted(situation.lifted), sorted(situation.pots.items()),
             sorted(situation.loads.items()), sorted(situation.idle.items()), situation.feedback, situation.load)
        )  # fmt: skip
        if key not in self._known:
            dc, ac = self._dc(situation), self._ac(situation)
            self._known[key] = {j: (dc.get(j, 0.0), ac.get(j, 0.0)) for j in self.amplifier.joints}
        return self._known[key]

    def prepare(self, situations, read=()) -> None:
        pass

    def turn_on(self, turns) -> None:
        pass

    def ring(self, situation: Situation, red: str, black: str, settled: float) -> float:
        return 1.0

    def mains_amps(self, situation: Situation) -> float:
        heaters = sum(
            p.value("volts") * p.value("amps")
            for p in self.amplifier.of_kind("heater")
            if p.envelope not in situation.out
        )
        return (10.0 + 1.6 * heaters) / self.amplifier.mains_volts

    def fall(self, situation: Situation, joint: str, times: Sequence[float]) -> Sequence[float]:
        return [self.joints(situation)[joint][0] * float(np.exp(-t / 15.0)) for t in times]

    def settings(self, situation: Situation) -> Mapping[str, float]:
        return {v.pot: 0.5 for v in self.roles.outputs if v.valve in situation.idle and v.pot}

    def cathode_amps(self, situation: Situation) -> Mapping[str, float]:
        volts, found = self.joints(situation), {}
        for v in self.roles.outputs:
            if v.envelope not in situation.out:
                found[v.valve] = (volts[v.plate][0] - volts[v.cathode][0]) / POWER
        return found

    def gain(self, situation: Situation, channel: str | None) -> float:
        return self.open_gain if situation.feedback == "open" else self.open_gain / (1 + self.closed_loop_gain)

    def loop_gain(self, situation: Situation, channel: str | None) -> float:
        loop = next(found for found in self.roles.loops if found.channel == channel)
        own = self.amplifier.parts[loop.resistor].value("ohms")
        extra = (situation.test_ohms or 0.0) if situation.feedback == "test" else 0.0
        return self.closed_loop_gain * own / (own + extra)

    # ------------------------------------------------------------------------------------------ dc
    def _dc(self, at: Situation) -> dict[str, float]:
        names = [j for j in self.amplifier.joints if j != "chassis"]
        index = {j: n for n, j in enumerate(names)}
        g = np.zeros((len(names), len(names)))
        i = np.zeros(len(names))

        def conduct(a: str, b: str, ohms: float, volts: float = 0.0) -> None:
            """A resistor from a to b with a source in series that pushes current out at a."""
            y = 1.0 / max(ohms, 1e-3)
            for p, q, sign in ((a, b, 1.0), (b, a, -1.0)):
                if p in index:
                    g[index[p], index[p]] += y
                    i[index[p]] += sign * y * volts
                    if q in index:
                        g[index[p], index[q]] -= y

        for name in names:
            g[index[name], index[name]] += 1 / INSULATION
        for a, b, ohms in self._resistances(at):
            conduct(a, b, ohms)
        for joint, ohms in at.loads.items():
            conduct(joint, "chassis", ohms)
        for supply in self.roles.supplies:
            volts = self._peak(supply, at)
            if volts:
                conduct(supply.joint, supply.ret, 300.0, supply.sign * volts)
        solved = np.linalg.solve(g, i)
        return {j: float(solved[n]) for j, n in index.items()}

    def _resistances(self, at: Situation):
        parts = self.amplifier.parts
        lifted = {self.amplifier.links[k].part for k in at.lifted if k in self.amplifier.links}
        if at.feedback == "open":
            lifted |= {self.amplifier.links[x.link].part for x in self.roles.loops if x.link}
        for p in parts.values():
            if p.name in lifted:
                continue
            if p.kind in ("resistor", "wire", "choke", "fuse", "load"):
                a, b = list(p.leads.values())[:2]
                yield a, b, p.value("ohms")
            elif p.kind == "switch" and p.name not in at.switches_open:
                yield *list(p.leads.values())[:2], p.value("ohms")
            elif p.kind == "pot":
                x = at.pots.get(p.name, p.value("position"))
                yield p.leads["end 1"], p.leads["wiper"], p.value("ohms") * x + 1.0
                yield p.leads["wiper"], p.leads["end 2"], p.value("ohms") * (1 - x) + 1.0
            elif p.windings:
                for w in p.windings:
                    yield p.leads[w.start], p.leads[w.end], w.ohms.value
            elif p.kind == "valve" and p.envelope not in at.out and at.mains_volts > 0:
                power = any(v.valve == p.name for v in self.roles.outputs)
                yield p.leads["plate"], p.leads["cathode"], POWER if power else SMALL
                if "screen" in p.leads:
                    yield p.leads["screen"], p.leads["cathode"], 10 * (POWER if power else SMALL)

    def _peak(self, supply, at: Situation) -> float:
        parts = self.amplifier.parts
        if any(parts[r].envelope in at.out for r in supply.rectifiers if parts[r].kind == "rectifier"):
            return 0.0
        cut = {self.amplifier.links[k].part for k in at.lifted if k in self.amplifier.links}
        cut |= {k.rpartition(" ")[0] for k in at.lifted} | {k.split(" ")[0] for k in at.lifted}
        if cut & set(supply.rectifiers) or any(supply.joint in parts[c].leads.values() for c in cut if c in parts):
            return 0.0
        windings = [w for w in parts[supply.transformer].windings if w.name in supply.windings]
        turns = max(w.turns.value for w in windings)
        if supply.form == "bridge" or "doubler" in supply.form:
            turns = sum(w.turns.value for w in windings) * (2 if "doubler" in supply.form else 1)
        if any(leg.coupling for leg in supply.legs):
            turns *= 0.1  # a small capacitor in the way drops most of it
        return 1.3 * turns * at.mains_volts / self.amplifier.mains_volts

    # ------------------------------------------------------------------------------------------ ac
    def _ac(self, at: Situation) -> dict[str, float]:
        found: dict[str, float] = {}
        m = at.mains_volts / self.amplifier.mains_volts
        for part in self.amplifier.of_kind("transformer"):
            height = {}
            for w in part.windings:
                height.setdefault(w.start, 0.0)
                for _ in part.windings:
                    for v in part.windings:
                        if v.start in height and v.end not in height:
                            height[v.end] = height[v.start] - v.turns.value
            groups = {}
            for w in part.windings:
                groups.setdefault(part.leads[w.start], set()).update({w.start, w.end})
            for lead, turns in height.items():
                joint = part.leads[lead]
                if joint != "chassis":
                    reference = next(
                        (height[o] for o in height if part.leads[o] == "chassis" and _same(part, o, lead)), None
                    )
                    base = reference if reference is not None else turns
                    found[joint] = abs(turns - base) * m
        return found


def _same(part, a: str, b: str) -> bool:
    reached = {a}
    for _ in part.windings:
        for w in part.windings:
            if {w.start, w.end} & reached:
                reached |= {w.start, w.end}
    return b in reached
