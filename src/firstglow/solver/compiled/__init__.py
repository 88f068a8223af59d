"""The two innermost loops once more in C: a rectifier's cycle, and straight-line elimination. An extra, not a need.

Where ``pip`` finds a C compiler it builds the library beside this file; where there is none, everything is done by numpy,
with the same numbers to the last few digits (``tests/solver/test_compiled.py`` holds each result of the one against the other).
"""
