"""firstglow from Python, one line each: what the commands do, without their words."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

from firstglow.amplifier import Amplifier, Bench, Fault, Situation, load
from firstglow.amplifier.model import AmplifierError, Problem

if TYPE_CHECKING:
    from firstglow.devices.catalogue import ValveType
    from firstglow.ladder.ladder import Ladder
    from firstglow.readings.verdict import Verdicts
    from firstglow.solver.standing import Standing

__all__ = [
    "Amplifier",
    "Bench",
    "Fault",
    "Situation",
    "accuracy",
    "check",
    "demo",
    "ladder",
    "load",
    "schema",
    "standing",
    "valve",
    "verdict",
]


def check(file: str | Path) -> tuple[Problem, ...]:
    """Every mistake in an amplifier file; empty if there is none."""
    try:
        load(file)
    except AmplifierError as error:
        return error.problems
    return ()


def ladder(amplifier: Amplifier, bench: Bench | None = None, **options: Any) -> "Ladder":
    """The first power-up; ``.document`` is the JSON of ``firstglow ladder``. Options: see ``ladder.ladder.build``."""
    from firstglow.ladder.ladder import build

    return build(amplifier, bench, **options)


def standing(amplifier: Amplifier, situation: Situation | None = None, faults: tuple[Fault, ...] = ()) -> "Standing":
    """All volts and currents in a situation; without one as it stands, everything in, at its marked mains.

    Raises SituationError for a name that is not this amplifier's (with the nearest that is), SolveError when it would
    not settle."""
    from firstglow.amplifier.named import check_names
    from firstglow.solver.circuit import compile_circuit
    from firstglow.solver.idle import stand

    situation = situation or Situation(amplifier.mains_volts)
    check_names(amplifier, situation, faults)
    return stand(compile_circuit(amplifier), situation, faults).standing


def verdict(climbed: "Ladder", readings: str | Path) -> "Verdicts":
    """What a readings file means on a ladder. Raises ReadingsError."""
    from firstglow.ladder.slipped import file_judged
    from firstglow.readings.taken import read_taken

    return file_judged(climbed, read_taken(readings, later=True))


def valve(name: str) -> "ValveType":
    """A valve type: laws, limits, pins. Raises DeviceError naming what is near."""
    from firstglow.devices.catalogue import valve_type

    return valve_type(name)


def accuracy() -> dict[str, Any]:
    """Every published figure beside the prediction: the JSON of ``firstglow accuracy`` (about 20 s)."""
    from firstglow.accuracy.study import document, study

    return document(study())


def schema(name: str) -> dict[str, Any]:
    """The JSON Schema of a command's output, of the amplifier file ("amplifier-file") or of a situation.

    Raises KeyError naming those that there are.
    """
    from firstglow import schemas

    if name not in schemas.names():
        raise KeyError(f"{name}: no such schema; one of {', '.join(schemas.names())}")
    return schemas.load(name)


def demo() -> dict[str, Any]:
    """The invented amplifier climbed with one fault hidden in it: the JSON of ``firstglow demo`` (some seconds)."""
    from firstglow.cli.demo import document, rehearsed

    return document(*rehearsed())
