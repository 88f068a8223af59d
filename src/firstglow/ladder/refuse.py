"""Sets that never get a ladder: series heaters, transformerless, autotransformer, HT straight from the mains."""

from firstglow.amplifier.graph import Net, Path, joints_along, net_of, reach
from firstglow.amplifier.model import Amplifier, AmplifierError, Problem

MAINS = ("line", "neutral")
VALVE_KINDS = ("valve", "rectifier", "heater", "diode")


def refuse(amplifier: Amplifier) -> None:
    """Raises AmplifierError where the mains are conductively joined to the chassis, a valve pin or a rectifier, or
    where no mains transformer stands between; names the path of joints.

    Capacitors do not join: class X and Y ones are ordinary parts of a mains side, and others are a look on rung 0.
    """
    if not amplifier.of_kind("transformer"):
        raise AmplifierError(
            (_problem(amplifier, "amplifier", "no mains transformer", "a mains transformer of its own"),)
        )
    net = net_of(amplifier)
    starts = [p.leads[lead] for p in amplifier.of_kind("inlet") for lead in MAINS if lead in p.leads]
    paths = reach(net, starts, lambda b, _: b.sort != "capacitor")
    for joint, path in paths.items():
        where = _forbidden(amplifier, joint)
        if where is not None:
            raise AmplifierError((_joined(amplifier, net, joint, path, where),))


def _forbidden(amplifier: Amplifier, joint: str) -> str | None:
    """What stands on a joint that the mains must never reach, or None."""
    if joint == "chassis":
        return "chassis"
    for part in amplifier.parts.values():
        if part.kind in VALVE_KINDS and joint in part.leads.values():
            return part.name
    return None


def _joined(amplifier: Amplifier, net: Net, joint: str, path: Path, where: str) -> Problem:
    start = joint
    for b in reversed(path):
        start = b.far(start)
    route = " - ".join(joints_along(start, path)) if path else joint
    found = f"joined to the mains without a transformer between: {route}"
    return _problem(amplifier, where, found, "no valve, rectifier or chassis on the mains: such a set gets no ladder")


def _problem(amplifier: Amplifier, part: str, found: str, allowed: str) -> Problem:
    line = amplifier.parts[part].origin.line if part in amplifier.parts else 0
    remedy = "someone licensed, with the set on an isolating transformer"
    return Problem(amplifier.file, line or 1, part, found, allowed, remedy)
