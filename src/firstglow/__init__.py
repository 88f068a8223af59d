"""firstglow: from one amplifier file to every meter reading of its first power-up."""

__version__ = "0.1.0"
