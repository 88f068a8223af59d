"""Roles of random amplifiers agree with the plan each was built from, and a good amplifier is never found fault with.

The generator is the outside reference: it knows what it built, the roles know only parts and joints.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from firstglow.amplifier.checks import check_structure
from firstglow.amplifier.model import Amplifier, Joint
from firstglow.amplifier.refusals import refusals
from firstglow.amplifier.roles import Roles, roles
from firstglow.amplifier.supplies import supplies
from structure.topologies import Plan, heat_end, topology, valves_of
from structure.topology_supplies import bias_expected

SEEDS, BLOCK = range(240), 20
Test = Callable[[int], None]


def every_seed(one: Test) -> Test:
    """A test of one seed, run for each of ``SEEDS``, a block of them a test: pytest's own share of a test is more than theirs."""

    @pytest.mark.parametrize("first", SEEDS[::BLOCK])
    def test(first: int) -> None:
        for seed in range(first, first + BLOCK):
            try:
                one(seed)
            except BaseException as failure:
                failure.add_note(f"seed {seed}")
                raise

    return test


@cache
def built(seed: int) -> tuple[Plan, Amplifier, Roles]:
    plan, amplifier = topology(seed)
    return plan, amplifier, roles(amplifier)


def channels(plan: Plan) -> tuple[str, ...]:
    return ("left ", "right ") if plan.channels == 2 else ("",)


@every_seed
def test_a_good_amplifier_has_no_problem(seed: int) -> None:
    _, amplifier, _ = built(seed)
    assert [p.text for p in check_structure(amplifier)] == []
    assert refusals(amplifier) == ()


@every_seed
def test_ht_supply(seed: int) -> None:
    plan, amplifier, found = built(seed)
    (supply,) = [s for s in found.supplies if s.use == "ht"]
    ht = plan.ht
    assert (supply.form, supply.kind, supply.sign, supply.transformer) == (ht.form, ht.kind, 1, "T1")
    assert supply.joint == "HT1"
    assert supply.reservoir == "C1"
    assert supply.input == ("choke" if ht.choke else "capacitor")
    assert supply.first_choke == ("L0" if ht.choke else None)
    assert supply.nodes == ("HT1", "HT2", "HT3")
    back = ht.back and not ht.reservoir_to_chassis
    assert supply.ret == ("HT minus" if back else "chassis")
    windings = {"full wave": {"ht a", "ht b"}}.get(ht.form, {"ht"})
    if plan.bias_way == "tap":
        windings.add("ht tap")
    assert set(supply.windings) == windings
    rectifying = {p.name for p in amplifier.of_kind("rectifier", "diode") if p.name.startswith(("V", "DH", "DA", "DB"))}
    assert set(supply.rectifiers) == rectifying
    assert len(supply.legs) == (1 if ht.form == "half wave" else 2)
    if "doubler" in ht.form:
        assert supply.middle == ("middle" if ht.form == "full-wave doubler" else "pump")
        assert set(supply.reservoirs) == ({"C1", "C1b"} if ht.form == "full-wave doubler" else {"C1", "CP"})
    between = {"fuse": "FH", "standby": "S2", "link": "WH", "resistor": "RH", "": None}[ht.between]
    if between:
        assert all(between in leg.series_dc for leg in supply.legs)
    if ht.between == "link":
        assert supply.dc_lead == ("HT link",)
    elif ht.between == "fuse":
        assert supply.dc_lead in {("FH 1",), ("FH 2",)}
    elif ht.kind != "valve":
        lifted = {"full-wave doubler": {"DH0 anode", "DH1 cathode"}, "cascade doubler": {"DH0 cathode", "DH1 cathode"}}
        leads = {f"{leg.rectifiers[-1]} cathode" for leg in supply.legs}
        across = (
            {f"{part}B{n} {lead}" for part, lead in (("RS", "2"), ("CS", "-")) for n in "12"} if ht.string else set()
        )
        assert set(supply.dc_lead) == lifted.get(ht.form, leads) | across
    if ht.ct_fuse:
        assert all("FC" in leg.series_ac for leg in supply.legs)


@every_seed
def test_legs_go_round_once_each_way(seed: int) -> None:
    """Full wave: the two legs see the winding's volts opposite in phase; each plate has its own resistor."""
    plan, amplifier, found = built(seed)
    (supply,) = [s for s in found.supplies if s.use == "ht"]
    volts = {w.name: w.turns.value for w in amplifier.parts["T1"].windings}
    emf = [sum(step.sign * volts[step.winding] for step in leg.windings) for leg in supply.legs]
    if plan.ht.form != "half wave":
        assert emf[0] == pytest.approx(-emf[1])
    assert abs(emf[0]) == pytest.approx(
        {"full wave": 320.0, "half wave": 320.0, "bridge": 320.0}.get(plan.ht.form, 160.0)
    )
    stages = {len(leg.stages) for leg in supply.legs}
    assert stages == {2 if plan.ht.form == "bridge" or plan.ht.string or plan.ht.rectifier == "backed" else 1}
    if plan.ht.plate_resistors and plan.ht.form == "full wave":
        assert [leg.series_ac.count(f"RP{n}") for n, leg in enumerate(supply.legs, 1)] == [1, 1]
    plates = sorted(f"{p.part} {p.lead}" for leg in supply.legs for stage in leg.stages for p in stage)
    assert len(plates) == len(set(plates))  # every plate in one leg only
    drawn = [f"{p.name} {x}" for p in amplifier.of_kind("rectifier") for x in p.leads if x.startswith("plate")]
    assert set(drawn) <= set(plates)


@every_seed
def test_bias_supply(seed: int) -> None:
    plan, _, found = built(seed)
    supplies = [s for s in found.supplies if s.use in {"bias", "negative"}]
    if plan.bias_way is None:
        assert supplies == []
        return
    (supply,) = supplies
    form, joint = bias_expected(plan.bias_way)
    assert (supply.form, supply.joint, supply.use, supply.sign) == (form, joint, "bias", -1)
    assert supply.kind == plan.bias_kind
    coupling = [c for leg in supply.legs for c in leg.coupling]
    assert set(coupling) == ({"CX"} if plan.bias_way.startswith("pump") else set())
    if plan.bias_way in {"winding resistor", "leg resistor"}:
        assert all("RD" in leg.series_ac + leg.series_dc for leg in supply.legs)
    if plan.bias_way == "pump" and plan.ht.form == "bridge":
        assert [abs(w.sign) for leg in supply.legs for w in leg.windings] == [0.5]


@every_seed
def test_output_valves(seed: int) -> None:
    plan, amplifier, found = built(seed)
    expected = {f"{c}{v}": half for c in channels(plan) for v, half in valves_of(plan)}
    assert {v.valve: v.half for v in found.outputs} == expected
    for v in found.outputs:
        c = f"{v.channel} " if v.channel else ""
        n = v.valve.removeprefix(c)
        i = [name for name, _ in valves_of(plan)].index(n)
        assert (v.transformer, v.bias, v.connection) == (f"{c}T2", plan.bias, plan.connection)
        assert v.grid_leak == (f"{c}R5{i}" if plan.follower else f"{c}R4{i}")
        assert v.stopper == (f"{c}R6{i}" if plan.stopper else None)
        assert v.driver == (f"{c}V7{'abcd'[i]}" if plan.follower else None)
        assert v.coupling == (() if plan.follower else (f"{c}C2{i}",))
        assert v.partner == next((o for o, h in expected.items() if h != v.half and o.startswith(c)), None)
        assert len(v.parallel) == (1 if plan.output == "parallel" else 0)
        if v.channel:
            assert amplifier.parts[v.twin or ""].channel != v.channel


@every_seed
def test_cathodes_of_output_valves(seed: int) -> None:
    plan, _, found = built(seed)
    for v in found.outputs:
        c = f"{v.channel} " if v.channel else ""
        i = [name for name, _ in valves_of(plan)].index(v.valve.removeprefix(c))
        own, shared = f"{c}R8{i}", f"{c}RK"
        sense = {"sense": own, "sense and shared": own, "shared sense": shared}.get(plan.cathode)
        resistor = {"own": own, "shared": shared, "sense and shared": shared}.get(plan.cathode)
        bypass = {"own": f"{c}C8{i}", "shared": f"{c}CK", "sense and shared": f"{c}CK"}.get(plan.cathode)
        assert (v.sense, v.cathode_resistor, v.bypass) == (sense, resistor, bypass)
        assert v.hum_pot == (f"{c}PF{i}" if plan.valve == "2A3" else None)
        together = len(valves_of(plan)) > 1 and "shared" in plan.cathode
        assert bool(v.shares_cathode) == together


@every_seed
def test_screens(seed: int) -> None:
    plan, _, found = built(seed)
    for v in found.outputs:
        c = f"{v.channel} " if v.channel else ""
        i = [name for name, _ in valves_of(plan)].index(v.valve.removeprefix(c))
        resistor, joint = {
            "triode": (None, None),
            "triode strapped": (f"{c}R7{i}", v.plate),
            "ultralinear": (f"{c}R7{i}" if i % 2 == 0 else None, f"{c}T2 screen {v.half}"),
            "pentode": (f"{c}R7{i}", "screens" if plan.glow else "HT2"),
        }[plan.connection]
        assert (v.screen_resistor, v.screen_joint) == (resistor, joint)
    tubes = [(t.part, t.feed, set(t.holds)) for t in found.gas_tubes]
    assert tubes == ([("VG", ("RG",), {v.valve for v in found.outputs})] if plan.glow else [])


@every_seed
def test_pots(seed: int) -> None:
    plan, _, found = built(seed)
    kinds = {p.pot: p for p in found.pots}
    for v in found.outputs:
        c = f"{v.channel} " if v.channel else ""
        i = [name for name, _ in valves_of(plan)].index(v.valve.removeprefix(c))
        pot = {"own": f"{c}P1{i}", "common": f"{c}P1", "balance": f"{c}P1", "none": None}[plan.pots]
        assert v.pot == pot
        if pot is None:
            assert v.pots == ()
            continue
        assert kinds[pot].negative_end == 0.0  # end 1 is on the negative rail, as built
        single = plan.pots == "own" or len(valves_of(plan)) == 1
        assert kinds[pot].kind == ("bias" if single else "bias common")
        if plan.pots == "balance":
            assert v.pots == (f"{c}P1", f"{c}PB")
            assert (kinds[f"{c}PB"].kind, kinds[f"{c}PB"].negative_end) == ("bias balance", 0.5)
    for c in channels(plan):
        if plan.volume:
            assert kinds[f"{c}PV"].kind == "signal"
    if "hum pot" in plan.heaters:
        assert kinds["PH"].kind == "hum"
    assert bool(found.back_bias) == (plan.bias == "back")
    if found.back_bias:
        assert (found.back_bias[0].resistors, found.back_bias[0].joint) == (("RB",), "HT minus")


@every_seed
def test_small_valves_and_chains(seed: int) -> None:
    plan, _, found = built(seed)
    small = {s.valve: s for s in found.smalls}
    for c in channels(plan):
        first = small[f"{c}V1a"]
        assert first.duty == "gain"
        assert (first.plate_load, first.feed) == ((f"{c}R13",), "HT3")
        direct = {
            "single": set(),
            "split load": {f"{c}V2a"},
            "split load coupled": set(),
            "pair": {f"{c}V2a", f"{c}V2b"},
            "pair coupled": set(),
            "pentode pair": {f"{c}V2a", f"{c}V2b"},
        }[plan.front]
        assert set(first.direct_coupled_to) == direct
        if plan.front != "single":
            second = small[f"{c}V2a"]
            assert second.duty == ("split load" if plan.front.startswith("split load") else "long-tailed pair")
            assert second.direct_coupled_from == ((f"{c}V1a",) if direct else ())
            outputs = {v.valve for v in found.outputs if v.valve.startswith(c)}
            driven = {f"{c}V7{'abcd'[i]}" for i in range(len(outputs))} if plan.follower else outputs
            both = set(second.drives) | set(small[f"{c}V2b"].drives if "pair" in plan.front else ())
            assert both == driven
        if plan.follower:
            assert small[f"{c}V7a"].duty == "follower"
            assert small[f"{c}V7a"].follows == (f"{c}V3",)
    inputs = {(i.part, i.section) for i in found.inputs}
    assert inputs == {(f"{c}J1", f"{c}V1a") for c in channels(plan)}


@every_seed
def test_loops(seed: int) -> None:
    plan, _, found = built(seed)
    for c in channels(plan):
        mine = [x for x in found.loops if (x.channel or "") == c.strip()]
        kind = {"lifts": "loudspeaker", "fixed": "loudspeaker", "foot": "loudspeaker", "none": None}.get(
            plan.loop, plan.loop
        )
        if kind is None:
            assert mine == []
            continue
        assert {x.kind for x in mine} == {kind}
        if kind == "loudspeaker":
            (loop,) = mine
            assert loop.source == f"{c}hot"
            assert loop.target == (f"{c}foot" if plan.loop == "foot" else f"{c}V1a cathode")
            assert loop.resistor == f"{c}R90"
            assert loop.link == (None if plan.loop == "fixed" else f"{c}feedback")
            assert set(loop.parts) == {f"{c}R90"} | ({f"{c}C90"} if plan.seed % 3 == 0 else set())
            assert loop.sections == (f"{c}V1a",)
        elif kind == "plate":
            assert {x.resistor for x in mine} == {f"{c}R91"}
            assert {x.link for x in mine} == {None}
        else:
            assert {x.inner for x in mine} == {v.valve for v in found.outputs if v.valve.startswith(c)}
    assert {(x.part, x.tap) for x in found.loads} == {(f"{c}LS", "8") for c in channels(plan)}


@every_seed
def test_heater_lines(seed: int) -> None:
    plan, amplifier, found = built(seed)
    lines = {w.name: w for w in found.heater_windings}
    heat = lines.get("T1 heat")
    named = {"lifted hum pot": "lifted"}.get(plan.heaters, plan.heaters)
    glass = {p.envelope for p in amplifier.of_kind("heater")}
    rectifiers = {p.envelope for p in amplifier.of_kind("rectifier")}
    outputs = {v.envelope for v in found.outputs} if plan.valve != "2A3" else set()
    small = {s.envelope for s in found.smalls if amplifier.parts[f"{s.envelope} heater"].type != "EF86"}
    small -= {s.envelope for s in found.smalls if s.follows}
    first = {s.envelope for s in found.smalls if amplifier.parts[f"{s.envelope} heater"].type == "EF86"}
    followers = {s.envelope for s in found.smalls if s.follows}
    on_heat = outputs | followers | (set() if plan.dc else first)
    on_heat |= set() if plan.dc or plan.series_heaters else small
    if plan.ht.rectifier == "common line":
        on_heat |= rectifiers
    if on_heat:
        assert heat is not None
        assert set(heat.envelopes) == on_heat
        assert heat.reference == named
        assert heat_end(plan) in heat.joints
    if plan.dc:
        (line,) = [w for w in found.heater_windings if w.supply]
        assert set(line.envelopes) == small | first
        assert [s.form for s in found.supplies if s.use == "heater"] == ["bridge"]
    elif plan.series_heaters and small:
        assert set(lines["T1 twelve"].envelopes) == small
    if plan.ht.kind == "valve" and plan.ht.rectifier != "common line":
        assert lines["T1 rect"].reference == "at HT"
        assert set(lines["T1 rect"].envelopes) == rectifiers
    if plan.valve == "2A3":
        assert sum(w.reference == "at cathode" for w in found.heater_windings) == len(found.outputs)
    assert {e for w in found.heater_windings for e in w.envelopes} == glass
    for r in found.rectifiers:
        if r.kind == "valve":
            common = plan.ht.rectifier == "common line"
            assert (r.at_ht, r.own_winding) == (not common, not common or on_heat == rectifiers)


@every_seed
def test_nodes_and_standby(seed: int) -> None:
    plan, _, found = built(seed)
    nodes = [n for n in found.ht_nodes if n.joint.startswith("HT")]
    assert [(n.joint, n.before, n.through) for n in nodes] == [
        ("HT1", None, ()),
        ("HT2", "HT1", ("R1",)),
        ("HT3", "HT2", ("R2",)),
    ]
    assert found.rails == ("HT1",)
    switches = [(s.switch, s.live, s.dead, s.nodes) for s in found.standby]
    dead = ("HT0",) if plan.ht.choke else ("HT1",)
    every = tuple(n.joint for n in found.ht_nodes)
    assert switches == ([("S2", ("rectified",), dead, every)] if plan.ht.between == "standby" else [])
    assert found.mains_switches == ("S1",)


def lifted(amplifier: Amplifier, names: tuple[str, ...]) -> Amplifier:
    """The amplifier with links or terminals hanging free, as Situation.lifted has it."""
    parts = dict(amplifier.parts)
    for name in names:
        link = amplifier.links.get(name)
        part = link.part if link else max((p for p in parts if name.startswith(f"{p} ")), key=len)
        lead = link.lead if link else name.removeprefix(f"{part} ")
        parts[part] = replace(parts[part], leads={**parts[part].leads, lead: f"free {name}"})
    terminals: dict[str, list[str]] = {}
    for p in parts.values():
        for lead, joint in p.leads.items():
            terminals.setdefault(joint, []).append(f"{p.name} {lead}")
    return replace(amplifier, parts=parts, joints={j: Joint(j, tuple(t)) for j, t in terminals.items()})


@every_seed
def test_with_the_dc_lead_lifted_nothing_is_charged(seed: int) -> None:
    """What the ladder lifts to keep HT off: no capacitor of the supply is left in any charging path."""
    _, amplifier, found = built(seed)
    for supply in found.supplies:
        rest = supplies(lifted(amplifier, supply.dc_lead))
        charged = {c for s in rest if set(s.rectifiers) & set(supply.rectifiers) for c in s.reservoirs}
        assert charged == set()
