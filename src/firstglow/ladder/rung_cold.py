"""Rung 1: cold ohms, unplugged (rows 4 to 11), and the long list that covers every other part once."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from firstglow.amplifier.model import Part
from firstglow.amplifier.role_types import OutputValve
from firstglow.amplifier.supplies import Supply
from firstglow.ladder import stops
from firstglow.ladder.cold_rest import the_rest
from firstglow.ladder.frame import Frame
from firstglow.ladder.kinds import kind_lines
from firstglow.ladder.places import End, beside
from firstglow.ladder.turns import turns_readings
from firstglow.readings.probe import Hold, PlannedReading, PlannedRung

RUNG = "1"
CHARGE_LIMIT = 1.0  # V: the ohms range is not turned on above it (common practice)
REST_VOLTS = 0.5  # V: what a healthy electrolytic brings back by itself minutes after it was emptied (common practice)
TAKEN_AS = 600.0  # V: the range a capacitor without a known rating is first read on
LARGE = 0.6e-6  # F: reservoirs and bias electrolytics, no coupling capacitor (common practice)
INSULATION = 10e6  # ohm, loudspeaker winding to HT: less is a broken-down output transformer (common practice)
PLUS_ENDS, EMPTIED = "plus ends", "emptied"
WAIT = 90.0  # s a node: the capacitors charge from the meter


def rung(frame: Frame) -> PlannedRung:
    """Every node, winding, grid leak and control, with the power off; then the turns of the output transformer."""
    words, text = frame.words, "rung.cold"
    readings = list(_readings(frame))
    readings += the_rest(frame, readings)
    readings += _emptied(frame)
    return PlannedRung(
        id=RUNG,
        title=words.text(f"{text}.title"),
        situation=frame.unplugged(),
        stands="",
        before=words.lines(f"{text}.before") + kind_lines(frame, "cold"),
        readings=tuple(readings),
        hold=Hold(True, words.text(f"{text}.hold")),
        cautions=words.lines(f"{text}.cautions"),
        watch_for=words.lines(f"{text}.watch"),
        wait_seconds=WAIT,
        wait_why=words.text(f"{text}.wait_why"),
        hands_in=True,
    )


def _readings(frame: Frame) -> Iterator[PlannedReading]:
    yield from charges(frame)
    for supply in frame.supplies("ht"):
        yield from _nodes(frame, supply)
    for output in frame.roles.outputs:
        yield from _output(frame, output)
    yield from _polarities(frame)
    yield from _loads(frame)
    turns = list(turns_readings(frame, RUNG))
    yield from turns
    if frame.amplifier.of_kind("load"):
        # what was put on the loudspeaker terminals for these rows would stand there when HT comes
        yield frame.look(RUNG, "load back", "load_back_turns" if turns else "load_back", frame.unplugged())


def large_capacitors(frame: Frame) -> list[Part]:
    """Every capacitor that keeps a charge worth reading: on the nodes of an HT or bias supply, what follows one of those in series, and
    all of a doubler."""
    rails = [s for s in frame.roles.supplies if s.use != "heater"]
    nodes = {j for s in rails for j in (*s.nodes, s.joint)}
    pumped = {c for s in rails for c in s.reservoirs}
    every = frame.amplifier.of_kind("capacitor")
    first = [p for p in every if p.name in pumped or (p.value("farads") >= LARGE and nodes & set(p.leads.values()))]
    feet = {j for p in first for j in p.leads.values()} - nodes - {"chassis"} - {s.ret for s in rails}
    also = {
        p.name
        for p in every
        if p.type == "electrolytic" and p.value("farads") >= LARGE and feet & set(p.leads.values())
    }
    return [p for p in every if p in first or p.name in also]


def ohms(frame: Frame, word: str, key: str, red: End, black: End, **more: Any) -> PlannedReading:
    """An ohms reading of rung 1, unplugged."""
    return frame.reading(
        RUNG,
        word,
        key,
        red,
        black,
        more.pop("situation", frame.unplugged()),
        kind="ohms",
        quantity=more.pop("quantity", "ohms"),
        **more,
    )


def charges(frame: Frame) -> Iterator[PlannedReading]:  # row 4
    """Every large capacitor across its own two ends before the ohms range."""
    for part in large_capacitors(frame):
        yield frame.reading(
            RUNG,
            "charge",
            "charge",
            _lug(frame, part, "+"),
            _lug(frame, part, "-"),
            frame.unplugged(),
            owner=part.name,
            contact="clip",
            stops=(stops.zero(CHARGE_LIMIT, "still charged"),),
            range_volts=part.value("volts") if "volts" in part.values else TAKEN_AS,
            rest_volts=REST_VOLTS,
            fill={"part": part.name},
        )


def _emptied(frame: Frame) -> Iterator[PlannedReading]:
    """Last of all: the ohms range and the insulation tester leave charge behind, and power comes next."""
    parts = ", ".join(p.name for p in large_capacitors(frame))
    if parts:
        yield frame.look(RUNG, EMPTIED, "emptied", frame.unplugged(), where="after_ohms", fill={"parts": parts})


def _lug(frame: Frame, part: Part, lead: str) -> End:
    """An end of a capacitor, with the joint it is on: a can has several lugs."""
    end = frame.at(part.name, lead)
    return replace(end, text=f"{end.text} ({end.joint})") if f"({end.joint})" not in end.text else end


def _nodes(frame: Frame, supply: Supply) -> Iterator[PlannedReading]:  # row 5
    minus = frame.joint(supply.ret)
    first = frame.joint(supply.joint)
    low = (stops.least(0.5, "settles below half: leaky, shorted or a wrong value"),)
    for node in supply.nodes:
        end = frame.joint(node)
        yield ohms(
            frame, f"{node} to minus", "node", end, minus, stops=low, fill={"node": end.text, "minus": minus.text}
        )
        if node != supply.joint:
            yield ohms(
                frame,
                f"{node} to {supply.joint}",
                "node_chain",
                end,
                first,
                stops=(stops.least(0.5), stops.most(2.0)),
                fill={"node": end.text, "first": first.text},
            )


def _output(frame: Frame, v: OutputValve) -> Iterator[PlannedReading]:
    plate = frame.at(v.valve, "plate")
    if v.transformer is not None:  # row 6
        centre = frame.at(v.transformer, "centre")
        key = "half" if v.partner else "primary_single"
        yield ohms(
            frame,
            "plate to centre",
            key,
            plate,
            centre,
            owner=v.valve,
            stops=(stops.least(0.5, "under half"), stops.most(2.0, "open")),
            remark=frame.words.text("rung.note.halves") if v.partner and v.valve > v.partner else "",  # said once
        )
    grid, home = frame.at(v.valve, "grid"), frame.joint(v.bias_joint)
    yield ohms(  # row 7
        frame,
        "grid leak",
        "leak",
        grid,
        home,
        owner=v.valve,
        stops=(stops.most(1.3, "open or drifted"), stops.least(0.7, "ends elsewhere")),
    )
    yield from _bias_joint(frame, v)
    yield from _cathode(frame, v)
    if v.screen_resistor is not None and v.screen_joint is not None:
        key = "strap" if v.triode_strapped else "screen_ohms"
        yield ohms(
            frame,
            "screen feed",
            key,
            frame.at(v.valve, "screen"),
            frame.joint(v.screen_joint),
            owner=v.valve,
            stops=(stops.most(2.0, "open or burned"), stops.least(0.5)),
            fill={"part": v.screen_resistor},
        )


def _bias_joint(frame: Frame, v: OutputValve) -> Iterator[PlannedReading]:  # row 8
    if v.bias_joint == "chassis":
        return
    if next(o for o in frame.roles.outputs if o.bias_joint == v.bias_joint) is not v:
        return
    # red on chassis: the meter then keeps the bias rectifier in reverse and its electrolytics the right way round
    red, black = frame.joint("chassis"), frame.joint(v.bias_joint)
    jump = (stops.least(0.5, "no change or a short"), stops.most(2.0, "open track"))
    if v.pot is None:
        yield ohms(frame, "bias joint", "bias_fixed", red, black, owner=v.valve, stops=jump)
        return
    for end, position in (("end 1", 0.0), ("end 2", 1.0)):
        yield ohms(
            frame,
            f"bias joint {end}",
            "pot_end",
            red,
            black,
            owner=v.valve,
            stops=jump,
            situation=frame.unplugged(pots={v.pot: position}),
            fill={"pot": v.pot, "end": end},
        )
    yield frame.look(RUNG, "bias joint smooth", "pot_smooth", frame.unplugged(), owner=v.valve, fill={"pot": v.pot})


def _cathode(frame: Frame, v: OutputValve) -> Iterator[PlannedReading]:  # row 9
    cathode, chassis = frame.at(v.valve, "cathode"), frame.joint("chassis")
    part = v.sense or v.cathode_resistor
    if part is None:
        yield ohms(
            frame,
            "cathode",
            "cathode_ground",
            cathode,
            chassis,
            owner=v.valve,
            quantity="bond ohms",
            stops=(stops.above(1.0, "cathode open"),),
        )
        return
    yield ohms(
        frame,
        "cathode",
        "sense",
        cathode,
        chassis,
        owner=v.valve,
        stops=(stops.least(0.5, "under half"), stops.most(2.0, "open or over twice")),
        fill={"part": part},
    )


def _polarities(frame: Frame) -> Iterator[PlannedReading]:
    bias = [p for s in frame.supplies("bias") for p in _on(frame, (*s.nodes, s.joint)) if p.type == "electrolytic"]
    names = ", ".join(dict.fromkeys(p.name for p in bias))
    if names:
        yield frame.look(RUNG, "bias electrolytics", "polarity_bias", frame.unplugged(), fill={"parts": names})
    bypasses = tuple(dict.fromkeys(v.bypass for v in frame.roles.outputs if v.bypass))
    yield from _plus_ends(frame, [*bias, *(frame.part(name) for name in bypasses)])
    for part in bypasses:
        yield frame.look(
            RUNG,
            "polarity",
            "bypass_polarity" if frame.part(part).values.get("volts") else "bypass_plus",
            frame.unplugged(),
            owner=part,
            fill={"part": part, "volts": _rated(frame.part(part)) / 1.5},
        )


def _rated(part: Part) -> float:
    """Its working volts; 0 where nobody has said them."""
    return part.value("volts") if part.values.get("volts") else 0.0


def _plus_ends(frame: Frame, told: Iterable[Part]) -> Iterator[PlannedReading]:
    """Every other electrolytic: one the wrong way round heats and bursts, and its ohms in place do not tell."""
    known = {p.name for p in told}
    others = [p for p in frame.amplifier.of_kind("capacitor") if p.type == "electrolytic" and p.name not in known]
    if others:
        places = ", ".join(f"{p.name} on {beside(frame.amplifier, p.leads['+'], p.name)}" for p in others)
        yield frame.look(RUNG, PLUS_ENDS, "plus_ends", frame.unplugged(), fill={"places": places})


def _on(frame: Frame, joints: Iterable[str]) -> list[Part]:
    wanted = set(joints)
    return [p for p in frame.amplifier.of_kind("capacitor") if wanted & set(p.leads.values())]


def _loads(frame: Frame) -> Iterator[PlannedReading]:  # row 10
    rails = [s.joint for s in frame.supplies("ht")]
    for load in frame.amplifier.of_kind("load"):
        hot, common, chassis = frame.at(load.name, "hot"), frame.at(load.name, "common"), frame.joint("chassis")
        off = frame.unplugged(load="none")
        yield ohms(
            frame,
            "load off",
            "load_off",
            hot,
            common,
            owner=load.name,
            situation=off,
            stops=(stops.above(5.0, "secondary open"),),
        )
        yield ohms(frame, "load on", "load_on", hot, common, owner=load.name, stops=(stops.most(3.0, "open"),))
        if common.joint != "chassis":
            yield ohms(frame, "common to chassis", "load_common", common, chassis, owner=load.name)
        if rails:
            # red on HT: the meter then keeps the diodes of the HT in reverse, and no way through them hides a short
            yield ohms(
                frame,
                "hot to HT",
                "load_ht",
                frame.joint(rails[0]),
                hot,
                owner=load.name,
                quantity="open ohms",
                situation=off,
                stops=(
                    stops.below(INSULATION, "insulation of the output transformer"),
                    stops.no_short("a short from the loudspeaker winding to HT"),
                ),
            )
