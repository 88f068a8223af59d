"""Which kinds of LADDER 6 this amplifier is, and the lines that each kind adds to a rung.

A kind is a key of ``texts.toml``'s [kind] table; its lines stand there by the rung they belong to.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING

from firstglow.amplifier.bases import find
from firstglow.amplifier.model import Part

if TYPE_CHECKING:
    from firstglow.ladder.frame import Frame


def kinds(frame: "Frame") -> tuple[str, ...]:
    """Keys of every kind found, in the order of the reference."""
    return (
        *_supplies(frame),
        *_bias(frame),
        *_stages(frame),
        *_heaters(frame),
        *_outputs(frame),
        *_loops(frame),
        *_mains(frame),
    )


def kind_lines(frame: "Frame", moment: str) -> tuple[str, ...]:
    """What the kinds of this amplifier add to one rung, each once."""
    lugs = ", ".join(rectifier_lugs(frame))
    lines = dict.fromkeys(
        line for kind in kinds(frame) for line in frame.words.lines(f"kind.{kind}.{moment}", lugs=lugs)
    )
    return tuple(lines)


def _rectifier_valves(frame: "Frame") -> list[Part]:
    return [p for p in frame.amplifier.of_kind("rectifier") if p.envelope in frame.ht_rectifiers]


def _separate(frame: "Frame", part: Part) -> str:
    """Where a rectifier with a cathode of its own is heated: its line at HT, by itself, or on the common line."""
    line = next((x for x in frame.roles.heater_windings if part.envelope in x.envelopes), None)
    if line is None or set(line.envelopes) - set(line.rectifiers):
        return "separate_rectifier"
    return "own_winding_at_ht" if line.reference == "at HT" else "own_winding"


def rectifier_lugs(frame: "Frame") -> tuple[str, ...]:
    """Transformer leads of every heater line that heats rectifiers and nothing else."""
    found: dict[str, None] = {}
    for line in frame.roles.heater_windings:
        if line.transformer is None or not line.rectifiers or set(line.envelopes) - set(line.rectifiers):
            continue
        for w in frame.amplifier.parts[line.transformer].windings:
            if f"{line.transformer} {w.name}" == line.name or w.name in line.windings:
                found |= dict.fromkeys((f"{line.transformer} {w.start}", f"{line.transformer} {w.end}"))
    return tuple(found)


def _supplies(frame: "Frame") -> Iterator[str]:
    ht = frame.supplies("ht")
    if any(s.kind == "silicon" for s in ht):
        yield "silicon_ht"
    if any(s.kind == "selenium" for s in ht):
        yield "selenium_ht"
    if len(ht) > 1:
        yield "several_rails"
    for part in _rectifier_valves(frame):
        base = find(part.type or "")
        if base is None:
            continue
        if base.direct:
            yield "direct_rectifier"
        elif base.joined:
            yield "joined_rectifier"
        else:
            yield _separate(frame, part)
    if any(s.input == "choke" for s in ht):
        yield "choke_input"
    if any("doubler" in s.form for s in ht):
        yield "doubler"
    if any(s.form == "bridge" for s in ht):
        yield "bridge"
    if frame.amplifier.of_kind("gas tube"):
        yield "gas_tube"


def _bias(frame: "Frame") -> Iterator[str]:
    outputs = frame.roles.outputs
    biases = {v.bias for v in outputs}
    for kind in ("cathode", "mixed", "back"):
        if kind in biases:
            yield f"{kind}_bias"
    for supply in frame.supplies("bias"):
        if frame.capacitor_fed(supply):
            yield "bias_capacitor"
        elif frame.shares_ht_winding(supply):
            yield "bias_tap"
        else:
            yield "bias_winding"
        if supply.kind == "selenium":
            yield "selenium_bias"
    fixed = [v for v in outputs if frame.has_bias(v)]
    if fixed and all(v.pot is None for v in fixed):
        yield "no_pots"
    if any(0.0 < position < 1.0 for position in frame.negative_ends.values()):
        yield "balance_pot"
    if fixed and any(frame.cathode_part(v) is None for v in fixed):
        yield "grounded_cathode"


def _stages(frame: "Frame") -> Iterator[str]:
    if any(v.driver is not None for v in frame.roles.outputs):
        yield "coupled_driver"
    if any(s.direct_coupled_to for s in frame.roles.smalls):
        yield "coupled_first"


def _heaters(frame: "Frame") -> Iterator[str]:
    references = {w.reference for w in frame.roles.heater_windings}
    if "lifted" in references:
        yield "lifted_heaters"
    if "hum pot" in references:
        yield "hum_pot"
    if frame.supplies("heater"):
        yield "dc_heaters"


def _outputs(frame: "Frame") -> Iterator[str]:
    outputs = frame.roles.outputs
    types = {v.valve: find(frame.part(v.valve).type or "") for v in outputs}
    if any(base is not None and base.direct for base in types.values()):
        yield "direct_output"
    if any(v.partner is None for v in outputs):
        yield "single_ended"
    if any(v.ultralinear for v in outputs):
        yield "ultralinear"
    if any(v.triode_strapped for v in outputs):
        yield "triode_strapped"
    if any(0 in (base.section("") or base.sections[0]).pins.get("plate", ()) for base in types.values() if base):
        yield "top_cap"
    if len(frame.output_groups) > 1:
        yield "two_channels" if len(frame.supplies("ht")) == 1 else "twin_supplies"


def _loops(frame: "Frame") -> Iterator[str]:
    if not frame.roles.loops:
        yield "no_loop"
    elif not frame.liftable:
        yield "fixed_loop"
    elif len(frame.liftable) < len(frame.roles.loops):
        yield "inner_loop"


def _mains(frame: "Frame") -> Iterator[str]:
    for part in frame.amplifier.of_kind("transformer"):
        primaries = [{w.start, w.end} for w in part.windings if w.role == "primary"]
        if any(one & other for n, one in enumerate(primaries) for other in primaries[n + 1 :]):
            yield "selector"
        elif len(primaries) > 1:
            yield "several_primaries"
    if frame.roles.standby:
        yield "standby"
    if frame.gear.isolating_transformer:
        yield "isolating_transformer"
    if not frame.gear.variable_transformer:
        yield "no_variable_transformer"
    if frame.gear.old_electrolytics:
        yield "old_electrolytics"
