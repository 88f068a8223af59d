"""Transformers and rectifiers part by part, and everything added up joint by joint: the proof's book-keeping.

Transformers: each winding's currents from its own leads and its core's emf. Rectifiers: each plate's mean and in-phase
amps from the cycle at the solved volts, settled afresh.
"""

from collections.abc import Collection
from dataclasses import dataclass, field

import numpy as np

from firstglow.amplifier.leg_types import WindingStep
from firstglow.amplifier.model import Part
from firstglow.devices.lamp import filament
from firstglow.solver import leg_pairs
from firstglow.solver.averaged import Averaged, Inputs
from firstglow.solver.charging import BROKEN_OHMS, LegRows
from firstglow.solver.currents import Bench, Flow, centre_flow, insulation_flow, link_flows, part_flow
from firstglow.solver.equations import Equations
from firstglow.solver.frame import Array, Coefficients
from firstglow.solver.mains_side import EDGE_VOLTS, magnetising
from firstglow.solver.parameters import CONTACT_OHMS
from firstglow.solver.pulse_power import imbalance
from firstglow.solver.pulses import Pulses, emf_name

AVERAGED = 2e-3
"""Part of a rectifier's watts that the cycle's cells may get wrong. A cell's implicit midpoint step keeps the books itself:
what a leg takes from its emf is what its ohms, its diode and the reservoir get, and a step leaning towards the end of its
cell only loses. What may be missing is where two legs conduct in one cell and the second works against what the first has
charged. Measured: none of it was needed in 40,000 random states of examples (b) and (c) and 4,500 of all three (reservoirs
open among them), nor in about 1,500 of nine forms of supply; the rest is left for topologies nobody has tried."""


@dataclass
class Books:
    """Every part's flow by name (windings apart: "T1 ht a"), and what the balances of cores, drives and lamp miss [A].
    cycle_watts: what rectifiers' cycles take from their emfs too much or too little, beyond what is let through [W].
    cycles: every rectifier's solved cycle and what stands around it, by the name of its group."""

    flows: dict[str, Flow] = field(default_factory=dict)
    misses: dict[str, Array] = field(default_factory=dict)
    given_watts: Array | float = 0.0
    cycle_watts: Array | float = 0.0
    core_watts: Array | float = 0.0
    cycles: dict[str, tuple[Averaged, Inputs]] = field(default_factory=dict)


def keep_books(bench: Bench, equations: Equations, coefficients: tuple[Coefficients, ...]) -> Books:
    """All parts of a solved batch."""
    books = Books()
    for part in bench.amplifier.parts.values():
        if part.windings:
            _windings(bench, part, books)
        else:
            books.flows[part.name] = part_flow(bench, part)
    for name, flow in link_flows(bench).items():
        books.flows[f"link {name}"] = flow
    books.flows["centres"] = centre_flow(bench)
    books.flows["insulation"] = insulation_flow(bench)
    for group, c in zip(equations.groups, coefficients, strict=True):
        if isinstance(group, Pulses):
            _rectifiers(bench, group, c, books)
    for part in bench.amplifier.of_kind("transformer"):
        _core(bench, part, books)
    _socket(bench, books)
    return books


def _windings(bench: Bench, part: Part, books: Books) -> None:
    core = part.kind == "transformer"
    for w in part.windings:
        flow, name = Flow(), f"{part.name} {w.name}"
        a, b = bench.at(part, w.start), bench.at(part, w.end)
        r = np.maximum(bench.p(f"{name} ohms"), CONTACT_OHMS)
        short = bench.p(f"{name} short siemens")
        i = (bench.dc(a) - bench.dc(b)) / r
        flow.through(a, b, i)
        flow.watts = i * i * r
        bench.touch(flow, a, b, short)
        square = i * i
        if core:
            n = bench.p(f"{name} turns") / bench.amplifier.mains_volts
            u = bench.ac(a) - bench.ac(b)
            amps = (u - n * _emf(bench, part, w.role == "primary")) / r
            flow.through_ac(a, b, amps + u * short)
            flow.row["turns_amps"] = n * amps
            flow.row["volts_ac"] = np.abs(u)
            square = square + np.abs(amps) ** 2
            flow.watts = flow.watts + np.abs(amps) ** 2 * r + np.abs(u) ** 2 * short
        flow.row["square"] = square
        books.flows[name] = flow


def _emf(bench: Bench, part: Part, primary: bool) -> Array:
    """The core's emf per turn: a phasor for the primary, its size for the secondaries."""
    x, index = bench.x, bench.frame.index
    if primary:
        return np.asarray(x[index[f"core in phase {part.name}"]] + 1j * x[index[f"core quadrature {part.name}"]])
    return np.asarray(x[index[f"core {part.name}"]])


def _core(bench: Bench, part: Part, books: Books) -> None:
    """Amp-turns of the primary against load, loss and magnetising current, as phasors; the size against the phasor."""
    emf = _emf(bench, part, True)
    size = bench.x[bench.frame.index[f"core {part.name}"]]
    nominal = bench.amplifier.mains_volts
    primary = sum(books.flows[f"{part.name} {w.name}"].row["turns_amps"] for w in part.windings if w.role == "primary")
    loads = [books.flows[f"{part.name} {w.name}"].row["turns_amps"] for w in part.windings if w.role != "primary"]
    loss = bench.p(f"{part.name} core_loss_watts") * size / nominal**2
    flux = size / nominal * bench.amplifier.mains_hz / bench.p("mains hertz")
    lag, _ = magnetising(flux, bench.p(f"{part.name} magnetising_amps"), bench.p(f"{part.name} knee_volts"))
    # near 0 V the currents lose their phase as the core's equations round it: a dead core on live mains is no answer
    rounded = np.hypot(np.abs(emf), EDGE_VOLTS)
    wanted = (loss - sum(loads) - 1j * lag) * emf / rounded
    books.misses[f"core {part.name}"] = np.abs(primary - wanted)
    # as amps, through the primary's own ohms
    ohms = sum(bench.p(f"{part.name} {w.name} ohms") for w in part.windings if w.role == "primary")
    books.misses[f"core volts {part.name}"] = np.abs(size - np.abs(emf) ** 2 / rounded) / ohms
    books.core_watts = books.core_watts + loss * size


def _rectifiers(bench: Bench, group: Pulses, c: Coefficients, books: Books) -> None:
    """Every plate's dc and in-phase amps. A plate's ``watts`` here are all that the change from ac to dc costs: its own
    heat (row "own_watts") and what the pulses' harmonics make in windings and mains side. It is never less than nothing: what
    the cutting of the cycle into cells can make of that is let through, anything more is missing power."""
    if not c["there"].any():
        return
    wide = np.concatenate([bench.x, np.zeros((1, bench.x.shape[1]))])
    source, _, share, _ = group.source(wide, c)
    found = group.run(wide, {**c, "exact": np.array(True)}, source, 60, ())
    if not group.loops:
        books.cycles[group.name] = found, group.inputs(wide, c, source)
    if group.henries is None:
        off, size = imbalance(group, found, group.inputs(wide, c, source), leg_pairs.mutual(group, c, source))
        books.cycle_watts = books.cycle_watts + np.where(
            c["there"], np.maximum(np.abs(off) - AVERAGED * size, 0.0), 0.0
        )
    turns = c["turns"]
    flow_turns = (turns * found.each_in_phase).sum(axis=0)
    for n in range(len(group.legs)):
        emf = wide[group.emfs[n]]
        miss = emf - group.volts_across(n, wide) - turns[n] * source * flow_turns
        miss = miss - (c["shared"][n] * found.each_in_phase).sum(axis=0) - leg_pairs.not_met(group, n, wide, c, source)
        books.misses[emf_name(group.name, n)] = np.abs(miss) / np.maximum(np.abs(emf), 1.0)
        if group.pumped is not None:
            books.misses[f"pump {group.name} {n + 1}"] = leg_pairs.not_pumped(group, c, found.each_amps)
        if group.returns:
            books.misses[f"{leg_pairs.WAY_ROUND}{group.name} {n + 1}"] = leg_pairs.not_round(group, bench.values)
        if group.others:
            books.misses[f"shared {group.name} {n + 1}"] = leg_pairs.not_told(
                group, n, wide, c, source, found.each_amps[n]
            )
    cross = np.zeros((len(turns), *turns.shape)) if found.cross is None else found.cross
    square_turns = (c["together"] * turns**2 * found.each_square).sum(axis=0)
    square_turns = square_turns + (leg_pairs.paired(group, turns) * cross).sum(axis=(0, 1))
    rest = share**2 * (square_turns - flow_turns**2) * c["per lamp"]
    mutual = leg_pairs.mutual(group, c, source)
    lamp = books.flows.setdefault("lamp", Flow())
    lamp.row["rest"] = lamp.row.get("rest", 0.0) + rest
    volts = wide[group.plus] - wide[group.minus]
    costs: list[tuple[list[str], Array]] = []
    least = np.zeros_like(volts)
    for n, leg in enumerate(group.legs):
        amps, in_phase, square = found.each_amps[n], found.each_in_phase[n], found.each_square[n]
        if leg.valve:
            own = (
                wide[group.emfs[n]] * in_phase
                - volts * amps
                - (c["ohms"][n] + c["together"][n] * turns[n] ** 2 * source) * square
                - (mutual[n] * cross[n]).sum(axis=0)
            )
        else:  # a volt in hundreds: its law at the current that weighs most tells it better than a difference
            weighty = square / np.maximum(np.abs(amps), 1e-15)
            own = np.abs(amps) * c["scale"][n] * np.log1p(weighty / c["limit"][n])
        # plates of one valve side by side carry one wave between them: amps add up, not squares
        plates = [
            (plate, 1.0 / len(stage), sum(other.part is plate.part for other in stage))
            for stage in leg.stages
            for plate in stage
        ]
        cost, given = np.zeros_like(amps), np.zeros_like(amps)
        for plate, part, tied in plates:
            i, i_ac = amps * part, leg.phase * in_phase * part
            flow = books.flows[plate.part.name]
            flow.through(plate.anode, plate.cathode, i)
            ends = leg.ac_ends(plate)
            flow.through_ac(*ends, i_ac)
            given = given + i * (bench.dc(plate.cathode) - bench.dc(plate.anode))
            cost = cost + i_ac * (bench.ac(ends[0]) - bench.ac(ends[1]))
            flow.row["own_watts"] = flow.row.get("own_watts", 0.0) + np.maximum(own, 0.0) / len(plates)
            flow.row["square"] = flow.row.get("square", 0.0) + tied * square * part**2
            name = f"{plate.lead}_amps" if plate.valve else "amps"
            flow.row[name] = flow.row.get(name, 0.0) + plate.way * i
        crossed = np.abs(in_phase * leg_pairs.not_met(group, n, wide, c, source)) + np.abs(
            amps * _others_drop(bench, leg, amps)
        )
        least = least - AVERAGED * (np.abs(given) + np.abs(cost)) - crossed
        costs.append(([plate.part.name for plate, *_ in plates], cost - given))
        for w in leg.leg.windings:
            if w.winding:
                row = books.flows[f"{w.part} {w.winding}"].row
                moves = {
                    "pulses square": c["together"][n] * square + _beside(group, n, w, cross),
                    "pulses dc": w.sign * amps,
                    "pulses in phase": w.sign * leg.phase * in_phase,
                }
                for name, value in moves.items():
                    row[name] = row.get(name, 0.0) + value
    missing = np.maximum(least - sum(cost for _, cost in costs), 0.0)
    for names, cost in costs:
        for name in names:
            books.flows[name].watts = books.flows[name].watts + (cost + missing / len(costs)) / len(names)


def settled_cycles(
    bench: Bench, equations: Equations, coefficients: tuple[Coefficients, ...]
) -> dict[str, tuple[Averaged, Inputs]]:
    """``Books.cycles`` alone, where nothing else is asked for."""
    wide = np.concatenate([bench.x, np.zeros((1, bench.x.shape[1]))])
    out = {}
    for group, c in zip(equations.groups, coefficients, strict=True):
        if isinstance(group, Pulses) and not group.loops and c["there"].any():
            source = group.source(wide, c)[0]
            found = group.run(wide, {**c, "exact": np.array(True)}, source, 60, ())
            out[group.name] = found, group.inputs(wide, c, source)
    return out


def _beside(group: Pulses, n: int, mine: WindingStep, cross: Array) -> Array:
    """What the other legs that pulse through a winding at the same moments add to leg ``n``'s mean square there [A^2]."""
    out = np.zeros(cross.shape[-1])
    for k, other in enumerate(group.legs):
        for w in other.leg.windings:
            if k != n and (w.part, w.winding) == (mine.part, mine.winding):
                out = out + mine.sign * w.sign * cross[n, k]
    return out


def _others_drop(bench: Bench, leg: LegRows, amps: Array) -> Array:
    """Dc volts that other currents drop in a leg's windings: pulses that do not overlap cost each other nothing, though
    their means and fundamentals taken alone seem to."""
    out = np.zeros_like(amps)
    for w in leg.leg.windings:
        if w.winding:
            part = bench.amplifier.parts[w.part]
            ends = next((x.start, x.end) for x in part.windings if x.name == w.winding)
            name = f"{w.part} {w.winding}"
            r = np.maximum(bench.p(f"{name} ohms"), CONTACT_OHMS)
            left = 1.0 / (1.0 + r * bench.p(f"{name} short siemens"))
            # a leg's dc enters at the end and leaves at the start where its sign is +
            drop = w.sign * (bench.dc(bench.at(part, ends[1])) - bench.dc(bench.at(part, ends[0])))
            out = out + np.abs(drop - np.where(r < BROKEN_OHMS, r * left * amps, drop))
    return out


def _socket(bench: Bench, books: Books) -> None:
    """The mains and the limiter lamp."""
    for part in bench.amplifier.of_kind("inlet"):
        x, index = bench.x, bench.frame.index
        ohms, rest = x[index["lamp ohms"]], x[index["lamp harmonics"]]
        line, neutral = bench.at(part, "line"), bench.at(part, "neutral")
        mains = bench.p("mains volts")
        amps = (mains + bench.ac(neutral) - bench.ac(line)) / ohms
        flow = books.flows.setdefault("lamp", Flow())
        flow.through_ac(neutral, line, amps)
        square = np.abs(amps) ** 2 + rest
        lit = bench.p("lamp in")
        hot = bench.p("lamp ohms factor") * bench.amplifier.mains_volts**2 / bench.p("lamp watts")
        law = lit * hot * filament(square * ohms / bench.p("lamp watts"))[0] + (1.0 - lit) * CONTACT_OHMS
        books.misses["lamp"] = np.abs(ohms - law) / ohms * np.abs(amps)
        books.misses["lamp harmonics"] = np.abs(rest - flow.row.get("rest", 0.0)) / (np.abs(amps) + 1e-3)
        flow.watts = ohms * np.abs(amps) ** 2
        flow.row |= {"amps_rms": np.sqrt(np.maximum(square, 0.0)), "volts_rms": ohms * np.sqrt(np.maximum(square, 0.0))}
        books.given_watts = books.given_watts + mains * amps.real
    for part in bench.amplifier.of_kind("supply"):
        books.given_watts = books.given_watts + books.flows[part.name].row["given_watts"]


def joint_sums(books: Books, known: Collection[str]) -> tuple[dict[str, Array], dict[str, Array]]:
    """For every node and kind ("dc HT1") that is ``known``: the sum of all amps that leave it, and of their sizes.

    A node without a winding's volts holds its ac still; what flows into it there needs no sum.
    """
    net: dict[str, Array] = {}
    gross: dict[str, Array] = {}
    for flow in books.flows.values():
        for kind, amps in (("dc", flow.dc), ("ac", flow.ac)):
            for node, i in amps.items():
                name = f"{kind} {node}"
                if name in known:
                    net[name] = net.get(name, 0.0) + i
                    gross[name] = gross.get(name, 0.0) + np.abs(i)
    return net, gross
