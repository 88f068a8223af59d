"""The amplifier file and what it becomes: frozen data about what stands on the bench and how it stands."""

from firstglow.amplifier.bench import Bench, BenchError, load_bench
from firstglow.amplifier.faults import FaultCase, all_faults
from firstglow.amplifier.model import Amplifier, AmplifierError, Problem
from firstglow.amplifier.options import SituationError, situation_from_options
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Fault, Situation
from firstglow.amplifier.situation_json import situation_from_json, situation_to_json

__all__ = [
    "Amplifier",
    "AmplifierError",
    "Bench",
    "BenchError",
    "Fault",
    "FaultCase",
    "Problem",
    "Situation",
    "SituationError",
    "all_faults",
    "load",
    "load_bench",
    "situation_from_json",
    "situation_from_options",
    "situation_to_json",
]
