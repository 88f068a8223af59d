"""What an amplifier and its bench have, by the names that ``texts.toml`` asks for: no word for a thing that is not there.

A text says ``<choke: ...>`` for what is said only where there is one, ``<no choke: ...>`` for the opposite.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from firstglow.amplifier.model import Part
    from firstglow.amplifier.role_types import OutputValve
    from firstglow.ladder.frame import Frame

THINGS = frozenset(
    {
        "selenium",  # rectifiers of it, anywhere
        "bleeder",  # a way through resistors that drains an HT supply once it is off
        "dial",  # a variable transformer on the bench
        "pot",  # a control that sets the bias of an output valve
        "bias",  # a negative voltage on an output grid, from wherever
        "self bias",  # a cathode current that makes it, in whole or in part
        "bias supply",  # a supply that makes it
        "bias electrolytic",
        "pair",  # output valves that work in push-pull
        "channels",  # more than one
        "loop",  # feedback that can be lifted
        "feedback",  # feedback at all
        "choke",
        "ultralinear",
        "rectifier",  # a rectifier valve for the HT
        "silicon",  # diodes for it
        "hum pot",
        "twin",  # the same part in the other channel
        "screen",  # a screen that is not joined to its plate
        "bypass",  # a capacitor across the cathode's resistor
        "coupling",  # a capacitor into the grid
        "cathode resistor",
    }
)


def things(frame: "Frame") -> frozenset[str]:
    """What the whole amplifier and the bench have."""
    a, outputs = frame.amplifier, frame.roles.outputs
    there = {
        "selenium": any(p.type == "selenium" for p in a.of_kind("diode")),
        "bleeder": any(s.joint not in frame.undrained for s in frame.supplies("ht")),
        "dial": frame.gear.variable_transformer,
        "bias supply": bool(frame.supplies("bias")),
        "bias electrolytic": _bias_electrolytic(frame),
        "channels": len({p.channel for p in a.parts.values() if p.channel}) > 1,
        "loop": bool(frame.liftable),
        "feedback": bool(frame.roles.loops),
        "choke": bool(a.of_kind("choke")),
        "ultralinear": any(v.ultralinear for v in outputs),
        "rectifier": bool(frame.ht_rectifiers),
        "silicon": any(s.kind in ("silicon", "selenium") for s in frame.supplies("ht")),
        "hum pot": any(w.reference == "hum pot" for w in frame.roles.heater_windings),
        "twin": any(p.twin in a.parts for p in a.parts.values() if p.twin),
        "screen": any("screen" in p.leads for p in a.of_kind("valve")),
        "bypass": True,
        "coupling": True,
        "cathode resistor": True,
    }
    found = {name for name, has in there.items() if has}
    return frozenset(found.union(*(_of_output(frame, v) for v in outputs)))


def things_of(frame: "Frame", part: "Part | None", whole: frozenset[str]) -> frozenset[str]:
    """The same for a text about one part: an output valve's own control, a small valve's own screen."""
    if part is None:
        return whole
    own = {"twin"} if part.twin and part.twin in frame.amplifier.parts else set()
    known = {"twin"}
    output = next((v for v in frame.roles.outputs if v.valve == part.name), None)
    if output is not None:
        own |= _of_output(frame, output)
        known |= {"pot", "bias", "self bias", "pair"}
    if part.kind == "valve":
        own |= _of_valve(frame, part)
        known |= {"screen", "bypass", "coupling", "cathode resistor"}
    return (whole - known) | own


def _of_output(frame: "Frame", v: "OutputValve") -> set[str]:
    there = {
        "pot": v.pot,
        "bias": frame.has_bias(v) or v.bias == "back",
        "self bias": frame.self_biased(v),
        "pair": v.partner,
    }
    return {name for name, has in there.items() if has}


def _of_valve(frame: "Frame", part: "Part") -> set[str]:
    """What hangs on a valve's own electrodes."""
    grid, cathode = part.leads.get("grid"), part.leads.get("cathode")
    capacitors = [set(p.leads.values()) for p in frame.amplifier.of_kind("capacitor")]
    there = {
        "screen": "screen" in part.leads and part.leads["screen"] != part.leads["plate"],
        "bypass": cathode != "chassis" and any(cathode in ends for ends in capacitors),
        "coupling": any(grid in ends for ends in capacitors),
        "cathode resistor": any(cathode in p.leads.values() for p in frame.amplifier.of_kind("resistor")),
    }
    return {name for name, has in there.items() if has}


def _bias_electrolytic(frame: "Frame") -> bool:
    """An electrolytic on a bias supply, or on a negative rail that biases no grid."""
    nodes = {n for s in frame.negatives for n in (s.joint, *s.nodes)}
    found = frame.amplifier.of_kind("capacitor")
    return any(p.type == "electrolytic" and nodes & set(p.leads.values()) for p in found)
