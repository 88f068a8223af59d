"""The amplifier file and what it becomes: frozen data about what stands on the bench and how it stands."""

from firstglow.amplifier.model import Amplifier, AmplifierError, Problem
from firstglow.amplifier.reading import load
from firstglow.amplifier.situation import Fault, Situation

__all__ = ["Amplifier", "AmplifierError", "Fault", "Problem", "Situation", "load"]
