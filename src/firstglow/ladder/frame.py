"""What every rung builder works with: structure, bench, situations, and readings made whole."""

import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import replace
from functools import cached_property
from typing import Any

from firstglow.amplifier.findings import findings as structure_findings
from firstglow.amplifier.model import Amplifier, Part
from firstglow.amplifier.role_types import Loop, Roles
from firstglow.amplifier.situation import Feedback, Situation
from firstglow.ladder import dials as dial_rules
from firstglow.ladder import drains, hanging, unfit
from firstglow.ladder.gear import Gear
from firstglow.ladder.overloads import Overload, by_part, tubes_alone
from firstglow.ladder.places import End, end_at, end_of, own_name
from firstglow.ladder.questions import Physics
from firstglow.ladder.structure import Structure
from firstglow.ladder.things import things, things_of
from firstglow.ladder.words import Words
from firstglow.readings.finish import HUM_AT_INPUT, USUAL
from firstglow.readings.probe import Contact, Kind, PlannedReading, Probe, StopRule

DRIVE_OUT = 0.3  # V rms wanted at the load when the loop's polarity is tried
# V rms at the input: five times what hum is usual there, or a dead stage would pass
LEAST_DRIVE = 5.0 * USUAL * HUM_AT_INPUT
MOST_DRIVE = 1.0  # V rms at the input: an amplifier that wants more is cut off, not deaf
TEST_LOOP_GAIN = 0.2  # loop gain with the test resistor in: the output falls to 1/1.2, and cannot howl if wrong
# Less does not bring the output clear of 0.95, from where nothing is proved, by what a meter's two readings may be wrong
# by; and a loop of so little gain does not howl whichever way round it is.
LEAST_LOOP_GAIN = 1.0 / 0.92 - 1.0
LEAST_OF_LOOP = 0.01  # of the loop's own resistor: less in series with it is no resistor that anybody puts in
BRIDGE = End("mains", "bench ammeter, in line", outside=True)
LAMP = End("mains", "the limiter lamp itself", outside=True)

# Of a node's volts: a capacitor with this part of them across it stands and falls with the node.
MOST_OF = 0.97


class Frame(Structure):
    """One amplifier on one bench, as the rung builders see it.

    overloaded: parts that the drawing asks more of than they are rated for.
    negative_ends: pot -> the position (0 or 1, 0.5 for a balance) that makes the output grids most negative.
    """

    def __init__(
        self,
        amplifier: Amplifier,
        roles: Roles,
        gear: Gear,
        physics: Physics,
        negative_ends: Mapping[str, float],
        overloaded: tuple[Overload, ...] = (),
    ) -> None:
        super().__init__(amplifier, roles)
        self.overloaded = overloaded
        self.gear = gear
        self.physics = physics
        self.negative_ends = dict(negative_ends)
        self.ends: dict[str, tuple[End, End]] = {}

    @cached_property
    def words(self) -> Words:
        """The texts, for what this amplifier and this bench have."""
        return Words(things(self))

    # ------------------------------------------------------------------------------------------ situations
    def unplugged(self, **changes: Any) -> Situation:
        """No mains, every valve out."""
        return Situation(mains_volts=0.0, out=self.envelopes).but(**changes)

    def alone(self, dial: float = 1.0, **changes: Any) -> Situation:
        """The mains transformer and the bias supply, HT impossible, every pot at its most negative."""
        return Situation(
            mains_volts=self.volts(dial),
            out=self.envelopes - self.bias_rectifiers,
            lifted=self.ht_lifts,
            pots=dict(self.negative_ends),
        ).but(**changes)

    def ht_only(self, dial: float = 1.0, **changes: Any) -> Situation:
        """HT on with nothing drawing."""
        out = self.envelopes - self.bias_rectifiers - self.ht_rectifiers
        return self.alone(dial, out=out, lifted=frozenset()).but(**changes)

    def small(self, dial: float = 1.0, **changes: Any) -> Situation:
        """Small valves in, loop lifted, input shorted."""
        return self.ht_only(dial, out=self.output_envelopes, feedback=self.open_loop).but(**changes)

    def playing(self, valves: Iterable[str], dial: float = 1.0, **changes: Any) -> Situation:
        """Small valves and the given output valves (sections) in, loop lifted."""
        fitted = {self.envelope(v) for v in valves}
        return self.small(dial, out=self.output_envelopes - fitted).but(**changes)

    def at_half_idle(self, rung: str, **changes: Any) -> Situation:
        """All output valves in, at about half their idle target where a pot sets it."""
        return self._idling(rung, 0.5, feedback=self.open_loop).but(**changes)

    def at_idle(self, rung: str, **changes: Any) -> Situation:
        """All output valves in at their idle target, loop closed as designed."""
        return self._idling(rung, 1.0, feedback="closed").but(**changes)

    def _idling(self, rung: str, share: float, **changes: Any) -> Situation:
        everyone = [v.valve for v in self.roles.outputs]
        idle = {v.valve: share * t for v in self.roles.outputs if v.pot and (t := self.target(v)) is not None}
        return self.playing(everyone, self.dial(rung), loads=self.loads_for(rung), idle=idle).but(**changes)

    def driven(self, at: Situation, channel: str | None) -> Situation:
        """A small signal that gives about 0.3 V at the load with the loop lifted, or more where that would drown in hum."""
        lifted = at.but(feedback=self.open_loop, stimulus_volts=0.01)
        gain = self.physics.gain(lifted, channel)
        volts = min(max(DRIVE_OUT / gain, LEAST_DRIVE), MOST_DRIVE) if gain > 0 else MOST_DRIVE
        return at.but(stimulus_volts=float(f"{volts:.2g}"))

    @property
    def open_loop(self) -> Feedback:
        """How the feedback stands while it is not proved: "open" where a loop can be lifted."""
        return "open" if self.liftable else "closed"

    # ------------------------------------------------------------------------------------------ dial and lamps
    def volts(self, dial: float) -> float:
        """A stage of the dial in whole volts, rounded down; the socket's own at full."""
        return self.gear.mains_now if dial >= 1.0 else float(int(dial * self.gear.mains_now))

    def dial_of(self, at: Situation) -> float:
        """The dial of a situation, as a fraction of the socket's volts."""
        return at.mains_volts / self.gear.mains_now

    @cached_property
    def dials(self) -> dial_rules.Dials:
        """Dial and load resistors of every rung from 4 on."""
        return dial_rules.dials(self)

    @cached_property
    def undrained(self) -> frozenset[str]:
        """Joints of the HT supplies that nothing drawn drains once they are off."""
        return drains.undrained(self)

    @cached_property
    def findings(self) -> tuple[str, ...]:
        """What the drawing itself is found unfit for, in plain words: the first lines of the ladder."""
        structural = structure_findings(self.amplifier)
        # a capacitor that is unfit has its line already, with the states in which it is
        beside = [o for o in self.overloaded if o.part not in self.dials.unfit]
        return structural + unfit.findings(self) + drains.findings(self) + tubes_alone(self) + by_part(beside)

    def dial(self, rung: str) -> float:
        """Dial of a rung."""
        return self.dials.dial[rung]

    def loads_for(self, rung: str) -> Mapping[str, float]:
        """Load resistors that stay on HT at a rung."""
        return self.dials.loads.get(rung, {})

    @property
    def ht_loads(self) -> Mapping[str, float]:
        """Load resistors on HT at rung 4."""
        return self.loads_for("4")

    @cached_property
    def first_turn(self) -> float:
        """The first look at diode-fed HT."""
        return dial_rules.first_turn(self)

    @cached_property
    def running_lamp(self) -> float:
        """The limiter lamp for the whole amplifier [W]."""
        at = self.playing([v.valve for v in self.roles.outputs])
        return self.gear.lamp_for(self.physics.mains_amps(at) * at.mains_volts)

    @property
    def first_lamp(self) -> float:
        """The limiter lamp of the first powered rungs [W]: a small one where it stands in for the dial."""
        return self.running_lamp if self.gear.variable_transformer else self.gear.small_lamp

    def stage(self, dial: float) -> str:
        """A stage of the dial in words; never in volts, which change with the socket."""
        return self.words.text("rung.note.full" if dial >= 1.0 else "rung.note.stage", percent=f"{100 * dial:.0f}")

    def output_rung(self, number: int) -> str:
        """Id of the rung on which the n-th group of output valves goes in."""
        return "6" if len(self.output_groups) == 1 else f"6{'abcdefgh'[number]}"

    @cached_property
    def test_ohms(self) -> float | None:
        """The resistor in the loop that makes its gain at most 0.2; None where no loop can be lifted, and where none has
        gain enough for a fall that shows: then there is nothing to read, whatever is put in the loop."""
        at = self.at_half_idle("7", feedback="closed")
        if not self.amplifier.of_kind("input"):
            return None  # nothing says where a signal goes in: the loop is proved cold
        gains = {loop: self.physics.loop_gain(at, loop.channel) for loop in self.liftable}
        if max(gains.values(), default=0.0) < LEAST_LOOP_GAIN:
            return None
        found = dial_rules.lower(1.0)
        for loop, full in gains.items():
            own = self.part(loop.resistor).value("ohms") if loop.resistor else 1.0
            ohms = dial_rules.higher(max(own * max(full / TEST_LOOP_GAIN - 1.0, LEAST_OF_LOOP), 1.0))
            while self.physics.loop_gain(at.but(feedback="test", test_ohms=ohms), loop.channel) > TEST_LOOP_GAIN:
                ohms = dial_rules.higher(ohms * 1.1)
            found = max(found, ohms)
        return found

    def look_ahead(self, *also: Situation) -> None:
        """Solve together the states that the rungs ask about while they are made. One that would not settle says so when it
        is asked for by itself."""
        from firstglow.solver.standing import SolveError

        states = [*also, self.playing([v.valve for v in self.roles.outputs])]
        for rung, state in dial_rules.later(self).items():
            if rung in self.dials.dial:
                states.append(state.but(mains_volts=self.volts(self.dial(rung)), loads=self.loads_for(rung)))
        states += [self.at_half_idle(rung) for rung in ("7",) if rung in self.dials.dial]
        states += [self.at_idle(rung) for rung in ("9", "10") if rung in self.dials.dial]
        with suppress(SolveError):
            self.physics.prepare(states)

    # ------------------------------------------------------------------------------------------ ends of the leads
    def stands_with(self, node: str, minus: str, at: Situation) -> tuple[str, ...]:
        """The weakest capacitor that stands all of a node's volts without hanging on it (a valve that is out passes them on
        to its coupling capacitor), where it is rated for less than those that do; none else."""
        joints = self.physics.joints(at)
        volts = abs(joints.get(node, (0.0, 0.0))[0] - joints.get(minus, (0.0, 0.0))[0])
        on = {name: self.rated[name] for name in self.capacitors_on(node, minus)}
        ends = ((name, [joints.get(j, (0.0, 0.0))[0] for j in self.part(name).leads.values()]) for name in self.rated)
        with_it = [name for name, (one, two) in ends if name not in on and abs(one - two) > MOST_OF * volts > 0.0]
        weakest = min(with_it, key=lambda name: self.rated[name], default=None)
        if weakest is None or self.rated[weakest] >= min(on.values(), default=float("inf")):
            return ()
        return (weakest,)

    def at(self, part: str, lead: str) -> End:
        """A lead of a part as a place to put a probe."""
        return end_of(self.amplifier, part, lead)

    def joint(self, name: str) -> End:
        """A joint as a place to put a probe: a capacitor on it if there is one."""
        return end_at(self.amplifier, name)

    def heater_end(self, joint: str, envelopes: Iterable[str]) -> End:
        """A side of a heater line at the first of its sockets."""
        glass = set(envelopes)
        for part in self.amplifier.of_kind("heater"):
            lead = next((name for name, where in part.leads.items() if where == joint), None)
            if part.envelope is not None and part.envelope in glass and lead is not None:
                return self.at(part.name, lead)
        return self.joint(joint)

    def load_of_loop(self, loop: Loop) -> str:
        """Loudspeaker terminals that a loop comes from."""
        return self.load_of_channel(loop.channel)

    # ------------------------------------------------------------------------------------------ readings
    def reading_id(self, rung: str, word: str, owner: str | None, channel: str | None = None) -> str:
        """``rung/probe/channel`` of a reading."""
        part = self.amplifier.parts.get(owner) if owner else None
        middle = f"{own_name(part)} {word}" if part else word
        return f"{rung}/{middle}/{channel or (part.channel if part else None) or 'shared'}"

    def reading(
        self,
        rung: str,
        word: str,
        text: str,
        red: End,
        black: End,
        situation: Situation,
        *,
        kind: Kind = "dc volts",
        quantity: str = "volts",
        owner: str | None = None,
        contact: Contact | None = None,
        stops: tuple[StopRule, ...] = (),
        needs: bool = True,
        expect_word: str | None = None,
        note_only: str = "",
        remark: str = "",
        seconds: float = 0.0,
        series_ohms: float = 0.0,
        range_volts: float | None = None,
        rest_volts: float = 0.0,
        fill: Mapping[str, object] | None = None,
        aside: str = "",
        tool: str = "",
        settle_seconds: float = 0.0,
        off_seconds: float = 0.0,
        on_seconds: float = 0.0,
        first_current: bool = False,
    ) -> PlannedReading:
        """One reading made whole: id, texts, contact.

        ``aside``: for which of a text's sets of causes it asks ("cathode", "plate"), where the sides differ by that.

        ``text`` is its key in texts.toml, ``owner`` the part it is about.

        ``word`` is the middle of the id; its owner's own name (without its channel) stands in front of it.
        """
        part = self.amplifier.parts.get(owner) if owner else None
        own = f"{part.channel} " if part and part.channel else ""
        short = {k: v.replace(own, "") if own and isinstance(v, str) else v for k, v in (fill or {}).items()}
        values: dict[str, object] = {"valve_name": own_name(part) if part else "", **short}
        key = f"reading.{text}"
        own_id = self.reading_id(rung, word, owner)
        words = replace(self.words, has=things_of(self, part, self.words.has))
        own_checks = self._checks(words, key, aside, values)
        checks = hanging.with_parts(self, own_checks, kind, red.joint, black.joint, situation)
        return PlannedReading(
            id=own_id,
            what=_once(words.text(f"{key}.what", **values)),
            probe=Probe(kind, red.joint, black.joint, quantity, seconds, series_ohms),
            situation=situation,
            contact=contact or self._contact_later(own_id, situation, red, black),
            channel=part.channel if part else None,
            twin=self._twin(rung, word, part),
            stops=stops,
            red_at=red.text,
            black_at=black.text,
            pin=red.pin,
            needs=needs,
            expect_word=expect_word,
            check_first=tuple(text for texts in checks.values() for text in texts),
            checks=checks if len(checks) > 1 or "either" not in checks else {},
            note_only=note_only,
            remark=remark,
            tool=tool,
            settle_seconds=settle_seconds,
            off_seconds=off_seconds,
            on_seconds=on_seconds,
            first_current=first_current,
            range_volts=range_volts,
            rest_volts=rest_volts,
            stop_words=words.text(f"{key}.stop", **values) if words.is_there(f"{key}.stop") else "",
        )

    @staticmethod
    def _checks(words: Words, key: str, aside: str, values: Mapping[str, object]) -> dict[str, tuple[str, ...]]:
        """What to check first, by side; the likeliest side's first."""
        before = f"{aside}_" if aside else ""
        named = {side: f"{before}{side}" for side in ("low", "plus", "high", "minus", "bright", "dark")} | {
            "either": "check"
        }
        found = {side: words.lines(f"{key}.{name}", **values) for side, name in named.items()}
        return {side: texts for side, texts in found.items() if texts}

    def _twin(self, rung: str, word: str, part: Part | None) -> str | None:
        if part is None or part.twin is None or part.twin not in self.amplifier.parts:
            return None
        return self.reading_id(rung, word, part.twin)

    def bench(self, rung: str, word: str, text: str, situation: Situation, **more: Any) -> PlannedReading:
        """A reading at the bench box: lamp or ammeter, chassis untouched."""
        place = LAMP if more.get("quantity") == "lamp" else BRIDGE
        return self.reading(rung, word, text, place, place, situation, contact="bench box", **more)

    def look(self, rung: str, word: str, text: str, situation: Situation, **more: Any) -> PlannedReading:
        """A yes-or-no question for eyes and ears; where: a key of ``rung.note`` for what else tells."""
        nowhere = End("", self.words.text(f"rung.note.{more.pop('where', 'eyes')}"))
        contact: Contact = more.pop("contact", None) or ("none" if situation.mains_volts == 0 else "bench box")
        return self.reading(
            rung,
            word,
            text,
            nowhere,
            nowhere,
            situation,
            kind="look",
            quantity="look",
            expect_word="yes",
            contact=contact,
            **more,
        )

    # ------------------------------------------------------------------------------------------ contact
    def _contact_later(self, own_id: str, situation: Situation, red: End, black: End) -> Contact:
        """None where unplugged; else "clip" until ``contacts`` has the volts of every situation at once."""
        if situation.mains_volts == 0.0:
            return "none"
        self.ends[own_id] = (red, black)
        return "clip"

    # ------------------------------------------------------------------------------------------ figures in words
    @staticmethod
    def ohms_text(ohms: float) -> str:
        """A resistor as the drawer says it: 4.7 kΩ."""
        scale, sign = (1e6, "MΩ") if ohms >= 1e6 else (1e3, "kΩ") if ohms >= 1e3 else (1.0, "Ω")
        return f"{ohms / scale:g} {sign}"

    @staticmethod
    def volts_text(volts: float) -> str:
        """A small signal: 12 mV."""
        return f"{volts * 1e3:.3g} mV" if volts < 1.0 else f"{volts:.3g} V"


def _once(what: str) -> str:
    """A part that is named by its place says the place itself: no "V2 cathode V2 cathode R"."""
    return re.sub(r"\b(\S+ \S+) \1\b", r"\1", what)
