"""Stop limits: each physical reason to switch off, turned into volts, amps or ohms at the probe.

Ratings (a capacitor's volts, a plate's watts, a winding's amps) stand wherever they fall: where one cuts the healthy
band, that is a result about the amplifier and the reading says what separates the two. A limit that is a fraction
of the expected value never cuts the band: the band is what healthy amplifiers do.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from math import inf, isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firstglow.amplifier.model import Amplifier, Part
from firstglow.readings.asked import Block
from firstglow.readings.expected import share_of
from firstglow.readings.hotter import crossing
from firstglow.readings.least import least_ohms
from firstglow.readings.limit import Limit, Side
from firstglow.readings.meters import Range
from firstglow.readings.observe import Observer
from firstglow.readings.probe import PlannedReading, StopRule
from firstglow.readings.rated import cathode_ohms, section_of
from firstglow.readings.stop_points import StopPoints
from firstglow.readings.watts import at_watts

Array = NDArray[np.float64]

# Surge rating over working volts where a part states none: 1.15 to 315 V, 1.10 above (IEC 60384-4, from memory).
SURGE_LOW, SURGE_HIGH, SURGE_STEP_VOLTS = 1.15, 1.10, 315.0
# A joint that follows another by more than this has no volts against it to be driven past a limit: it counts as standing still.
MOST_SHARE = 0.9
# Loading under this part of a limit is less than any hand meter's own error: the limit stands as it is rated.
UNFELT = 0.002
# What any meter must at least show of a limit that is a fraction of the expected value: that half is missing, or double.
HALF = 0.5


@dataclass(slots=True)
class Limits:
    """Turns rules into limits for one ladder.

    expected: nominal shown value by reading id [SI]. blocks: by reading id. source_ohms: by reading id.
    points: what ``stop_points`` found for the same blocks.
    hot_ratio: by (reading id, valve, "plate"|"screen"): how much more watts than nominal the hottest healthy amplifier
        has behind the same reading; 1 where nothing was sampled.
    """

    observer: Observer
    expected: Mapping[str, float]
    blocks: Mapping[str, Block]
    source_ohms: Mapping[str, float]
    on: Mapping[str, Range]
    points: Callable[[], StopPoints]
    hot_ratio: Callable[[str, str, str], float] = lambda *_: 1.0
    _paths: dict[tuple[str, str], Any] = field(default_factory=dict)

    @property
    def amplifier(self) -> Amplifier:
        """The amplifier."""
        return self.observer.amplifier

    def of(self, r: PlannedReading) -> list[Limit]:
        """Every limit of a reading's rules, in its unit, signed."""
        out: list[Limit] = []
        for rule in r.stops:
            make = _RULES.get(rule.rule)
            if make is None:
                raise KeyError(f"stop rule {rule.rule!r} of reading {r.id}")
            out += make(self, r, rule)
        return [limit for limit in out if isfinite(limit.value)]

    # -- what rules ask --------------------------------------------------------------------------------------
    def nominal(self, r: PlannedReading) -> float:
        """Expected value as shown [SI]."""
        return self.expected.get(r.id, 0.0)

    def share(self, r: PlannedReading) -> float:
        """What the meter leaves of the true volts: of a limit as of what is expected."""
        on = self.on.get(r.id)
        share = 1.0 if on is None else share_of(r, on, self.source_ohms.get(r.id, 0.0))
        return share if share < 1.0 - UNFELT else 1.0

    def side(
        self, r: PlannedReading, size: float, side: Side, why: str, physical: bool = True, apart: float | None = None
    ) -> list[Limit]:
        """A limit on the SIZE of a reading as a signed one, by the sign that is expected."""
        if self.nominal(r) < 0:
            return [
                Limit("above" if side == "below" else "below", -size, why, physical, None if apart is None else -apart)
            ]
        return [Limit(side, size, why, physical, apart)]

    def turned(self, r: PlannedReading, limit: Limit) -> list[Limit]:
        """The same for a limit made already, its value a size."""
        return [
            replace(limit, side=one.side, value=one.value) for one in self.side(r, limit.value, limit.side, limit.why)
        ]

    def standing(self, r: PlannedReading) -> Any:
        """The nominal standing solution of a reading's situation."""
        return self.observer.point(self.blocks[r.id]).standing

    def _path(self, r: PlannedReading, valve: str) -> Any:
        """Standing solutions with ``valve`` driven ever hotter, from nominal on."""
        key = self.blocks[r.id].dc_key, valve
        if key not in self._paths:
            self._paths[key] = self.points().path(self.observer.circuit, key)
        return self._paths[key]

    def shown(self, r: PlannedReading, standing: Any) -> Array:
        """What the meter shows along a path."""
        value: Array = standing.row(r.probe) * self.share(r)
        return value

    # -- rules ------------------------------------------------------------------------------------------------
    def fixed(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Signed, as it stands with no meter across."""
        assert rule.limit is not None
        return [Limit(rule.side, rule.limit * self.share(r), rule.why or "the limit for this reading")]

    def zero(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Either side of nothing. Where a bias stands instead (back bias), half of it may be missing, as on its own rung; where a
        capacitor of its kind leaks a little as drawn, more than that and the limit."""
        assert rule.limit is not None
        why = rule.why or "nothing may stand here"
        limit = rule.limit * self.share(r)
        if self.nominal(r) < -limit:
            return self.side(r, abs(self.nominal(r)) / 2, "below", why)
        if self.nominal(r) > limit:
            return [Limit("above", self.nominal(r) + limit, why, physical=False), Limit("below", -limit, why)]
        return [Limit("above", limit, why), Limit("below", -limit, why)]

    def sign(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """The wrong side of nothing; the meter's own error is no sign."""
        assert rule.limit is not None
        slack = self.on[r.id].limits(0.0) if r.id in self.on else 0.0
        why = rule.why or "the wrong sign"
        return [Limit("below", -slack, why, True, 0.0) if rule.limit > 0 else Limit("above", slack, why, True, 0.0)]

    def grid_current(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """A grid above its cathode in a stage that draws grid current as drawn: past what healthy ones of it reach."""
        return [Limit("above", 0.0, rule.why, physical=False)]

    def heater(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Absolute volts across the heater; half of it where one side is read to chassis."""
        assert rule.limit is not None
        return self.side(r, rule.limit, rule.side, rule.why or "the heater's limit")

    def ratio(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """A fraction of what is expected. A meter too coarse for the fraction must at least show half or double."""
        assert rule.limit is not None
        size = abs(self.nominal(r))
        least = min(rule.limit, HALF) if rule.side == "below" else max(rule.limit, 1.0 / HALF)
        why = rule.why or "far from what is expected"
        return self.side(r, size * rule.limit, rule.side, why, physical=False, apart=size * least)

    def ratio_to(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """A fraction of what is expected of another reading."""
        assert rule.limit is not None
        size = abs(self.expected.get(rule.part, 0.0)) * rule.limit
        return self.side(r, size, rule.side, rule.why or f"against {rule.part}", physical=False) if size else []

    def path(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Half of the least that the ways drawn between two joints may show; nothing where there is none."""
        if r.probe.quantity != "ohms":
            return []
        least = least_ohms(self.observer, self.blocks[r.id], r)
        return [Limit("below", least * HALF, rule.why or "less than any way drawn there: a short", False)]

    def capacitor(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Working volts of a capacitor, as they appear between these two joints."""
        part = self.amplifier.parts[rule.part]
        volts, said = part.value("volts"), f"{rule.part} is a {part.value('volts'):g} V part"
        if rule.limit is not None:
            said = f"{said}: what stands here stands on it in proportion when the dial goes up"
        return self._capacitor(r, part, volts * (rule.limit or 1.0), said)

    def surge(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Surge volts: seconds at a cold start only."""
        part = self.amplifier.parts[rule.part]
        working = part.value("volts")
        factor = SURGE_LOW if working <= SURGE_STEP_VOLTS else SURGE_HIGH
        stated = part.values.get("surge_volts")
        known = stated is not None and stated.value > 0
        volts = stated.value if stated is not None and known else factor * working
        whose = "its own surge rating" if known else f"{factor:.2f} times, IEC 60384-4"
        said = f"{rule.part} is a {working:g} V part: {volts:.0f} V ({whose}) for the seconds of a switch-on only"
        return self._capacitor(r, part, volts, said)

    def working(self, r: PlannedReading) -> list[Limit]:
        """Working volts of the capacitors whose surge volts stop a cold start: past them it is looked at first."""
        found: list[Limit] = []
        for part in (self.amplifier.parts[rule.part] for rule in r.stops if rule.rule == "surge volts"):
            volts = part.value("volts")
            said = f"{part.name} is a {volts:g} V part, past its working volts at every switch-on"
            found += self._capacitor(r, part, volts, said)
        return found

    def _capacitor(self, r: PlannedReading, part: Part, volts: float, why: str) -> list[Limit]:
        plus, minus = part.leads["+"], part.leads["-"]
        red, black = r.probe.red, r.probe.black
        if not volts > 0:
            return []
        share = self.share(r)
        if (red, black) == (minus, plus):
            return [Limit("below", -volts * share, why)]
        if (red, black) == (plus, minus):
            return [Limit("above", volts * share, why)]
        if red in (plus, minus) and r.id in self.blocks and r.probe.quantity == "volts":
            # the meter's black stands elsewhere than the capacitor's other end: what lies between is added, and grows with
            # the reading as far as the two hang on the same resistors (a cathode and the foot under it)
            standing, other = self.standing(r), minus if red == plus else plus
            now, between = (float((standing.dc(red) - standing.dc(j))[0]) for j in (other, black))
            end, foot = (float(standing.tangent.follows(j, red)[0]) for j in (other, black))
            most = volts if red == plus else -volts
            limit = (
                between + (most - now) * (1.0 - foot) / (1.0 - end)
                if max(end, foot) < MOST_SHARE
                else most + between - now
            )
            return [Limit("above" if red == plus else "below", limit * share, why)]
        return self.side(r, volts * share, "above", why)

    def bias_safe(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Less bias than holds the strongest valve, as the loaded meter shows it at the pin."""
        volts = self.points().safe.get(rule.part)
        if volts is None:
            return []
        why = rule.why or "less than holds the strongest valve of the spread at its idle"
        return [Limit("above", volts * self.share(r), f"{why} ({volts:.1f} V at the grid)")]

    def dissipation(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """The reading at which the hottest valve of the spread reaches a plate's or a screen's watts."""
        return self._watts(r, rule, ("plate", "screen"))

    def screen_dissipation(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """The same for the screen alone."""
        return self._watts(r, rule, ("screen",))

    def idle_target(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Volts across the sense resistor at so many times the idle target."""
        part, target = self.amplifier.parts[rule.part], self.amplifier.idle.get(rule.part)
        ohms = cathode_ohms(self.amplifier, part)
        if target is None or ohms <= 0:
            return []
        volts = ohms * target.amps.value * (rule.limit or 1.0) * (1.0 + target.setting)
        return self.side(r, volts, rule.side, rule.why or "past the idle target")

    def hum(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Three times the computed hum, and over the volts that any howl has (LADDER row 41)."""
        return [Limit("above", max(rule.limit or 0.0, 3.0 * abs(self.nominal(r))), rule.why or "howl", False)]

    def grid_drift(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Volts over a grid leak at which what drives the grid up takes the valve from its idle to its plate's limit, or
        grows by itself: gas current is in proportion to plate current, so through the leak it drives itself from
        drop = plate amps / mutual conductance on (loop gain 1)."""
        most = section_of(self.amplifier.parts[rule.part]).limits.plate_watts
        path = self._path(r, rule.part)
        row = path.part(rule.part)
        good = np.logical_and.accumulate(path.settled)
        contact = path.values[path.circuit.column[f"{rule.part} contact"]]
        amps, volts = np.asarray(row["plate_amps"])[good], (contact - contact[0])[good]
        if len(volts) < 2 or not amps[1] > amps[0]:
            return []
        runs = float(amps[0] * (volts[1] - volts[0]) / (amps[1] - amps[0]))
        full = None if most is None else crossing(volts, np.asarray(row["plate_watts"])[good], most)
        limit = min(runs, inf if full is None else full)
        return [Limit("above", limit * self.share(r), rule.why or f"{rule.part} then drives itself past its limit")]

    def slow_fall(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Fallen no further than in half the time: of an exponential fall from V0 to V that is sqrt(V0 V)."""
        standing = self.standing(r)
        start = abs(float((standing.dc(r.probe.red) - standing.dc(r.probe.black))[0])) * self.share(r)
        size = (start * abs(self.nominal(r))) ** 0.5
        found = self.side(r, size, "above", rule.why or "falls half as fast as computed", physical=False)
        # nothing that still stands where it began has fallen
        return [replace(limit, most=start) for limit in found]

    def at_supply(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """So close to its supply that next to no current flows through what feeds it: as this meter shows it there, which
        draws through what feeds it when the valve does not."""
        standing = self.standing(r)
        dead = self.points().dead.get(r.id)
        share = self.share(r) if dead is None else share_of(r, self.on[r.id], dead)
        supply = float((standing.dc(rule.part) - standing.dc(r.probe.black))[0]) * share
        drop = supply - self.nominal(r)
        if drop <= 0.0 or rule.limit is None:
            return []
        why = rule.why or f"it stands at {rule.part}"
        # room for a wide band never takes it past the supply, where no reading gets
        return [Limit("above", supply - rule.limit * drop, why, physical=False, most=abs(supply))]

    def _watts(self, r: PlannedReading, rule: StopRule, electrodes: tuple[str, ...]) -> list[Limit]:
        part = self.amplifier.parts[rule.part]
        path = self._path(r, rule.part)
        row = path.part(rule.part)
        # a valve driven far past its limit may not settle: the path ends there
        good = np.logical_and.accumulate(path.settled)
        found: list[Limit] = []
        for electrode in electrodes:
            if f"{electrode}_watts" in row:
                watts, hot = np.asarray(row[f"{electrode}_watts"])[good], self.hot_ratio(r.id, rule.part, electrode)
                found += at_watts(part, electrode, np.abs(self.shown(r, path)[good]), watts, hot)
        return [turned for limit in found for turned in self.turned(r, limit)]

    def winding(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """The reading at which the first winding of a transformer carries its rated amps, everything in proportion."""
        part = self.amplifier.parts[rule.part]
        standing = self.standing(r)
        least, why = inf, ""
        for w in part.windings:
            if w.amps is None:
                continue
            row = standing.part(f"{part.name} {w.name}")
            amps = abs(float(np.ravel(row.get("amps_rms", row.get("amps", 0.0)))[0]))
            if amps > 0 and w.amps.value / amps < least:
                least, why = w.amps.value / amps, f"{part.name} {w.name} then carries its {w.amps.value:g} A"
        if least == inf or least <= 1.0:
            return []
        return self.side(r, abs(self.nominal(r)) * least, "above", why)

    def heater_cathode(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Cathode against heater, on the side of the heater that the cathode stands on."""
        part = self.amplifier.parts[rule.part]
        limits = section_of(part).limits
        most = limits.heater_cathode_volts
        if most is None:
            return []
        heater = next((p for p in self.amplifier.of_kind("heater") if p.envelope == part.envelope), None)
        standing = self.standing(r)
        at = float(np.ravel(standing.dc(heater.leads["1"]))[0]) if heater else 0.0
        black = float(np.ravel(standing.dc(r.probe.black))[0])
        why = f"{rule.part}: {most:g} V between heater and cathode"
        # read at what drives it: its cathode follows a little above that
        if r.probe.red != part.leads.get("cathode", r.probe.red):
            most -= float(np.ravel(standing.dc(part.leads["cathode"]) - standing.dc(r.probe.red))[0])
        share = self.share(r)
        if self.nominal(r) >= (at - black) * share:
            return [Limit("above", (at - black + most) * share, why)]
        # under a lifted heater: a positive cathode never gets below 0, so a limit there would protect nothing
        less = (limits.heater_cathode_volts or 0.0) - (limits.heater_apart(1.0) or 0.0)
        low = (at - black - (most - less)) * share
        return [Limit("below", low, why)] if low > 0.0 or self.nominal(r) < 0.0 else []

    def gas_tube(self, r: PlannedReading, rule: StopRule) -> list[Limit]:
        """Volts across a stabiliser tube with its most amps through it: its running volts stay and its slope resistance adds.
        One from tube to tube differs by more than that: the limit gives way, and what is past it does not glow."""
        part = self.amplifier.parts[rule.part]
        most, amps = part.value("amps_max"), float(np.ravel(self.standing(r).part(rule.part)["amps"])[0])
        volts = abs(self.nominal(r)) + part.value("ohms") * max(most - abs(amps), 0.0) * self.share(r)
        why = f"{rule.part} then carries {most:g} A, or does not glow"
        past = f"{rule.part} does not glow, or carries more than its {most:g} A"
        return [replace(one, yielded=past) for one in self.side(r, volts, "above", why, physical=False)]


_RULES: Mapping[str, Callable[[Limits, PlannedReading, StopRule], list[Limit]]] = {
    "fixed": Limits.fixed, "zero": Limits.zero, "sign": Limits.sign, "heater": Limits.heater, "ratio": Limits.ratio,
    "ratio to": Limits.ratio_to, "path": Limits.path, "capacitor volts": Limits.capacitor, "surge volts": Limits.surge,
    "bias safe": Limits.bias_safe, "dissipation": Limits.dissipation, "winding amps": Limits.winding,
    "screen dissipation": Limits.screen_dissipation, "idle target": Limits.idle_target, "hum": Limits.hum,
    "heater to cathode": Limits.heater_cathode, "gas tube amps": Limits.gas_tube,
    "grid current": Limits.grid_current, "grid drift": Limits.grid_drift, "slow fall": Limits.slow_fall, "at supply": Limits.at_supply,
}  # fmt: skip
