# ruff: noqa: E501
"""A planted transformer: coupled windings with magnetising current and copper, solved by numpy. Imports nothing of ours.

Source: the linear transformer, V = (R + jwL) I with L from a common magnetising inductance and turns (textbook).
"""

import random

import numpy as np


class Planted:
    """coils: name -> (leads in order, turns as volts at nominal mains up to each lead, ohms of each stretch)."""

    def __init__(self, coils, primary_volts, magnetising, seed, shorted=None):
        self.coils, self.rng = coils, random.Random(seed)  # noqa: S311
        self.v0, self.mag, self.shorted = primary_volts, magnetising, shorted
        self.slope = {k: 1 + self.rng.uniform(-1, 1) * 0.8 for k in ("ohm", "V", "A")}

    def place(self, lead):
        for name, (leads, volts, ohms) in self.coils.items():
            if lead in leads:
                n = leads.index(lead)
                return name, volts[n], sum(ohms[:n])
        return None

    def meter(self, value, unit, fraction):
        """6000 counts; error within the fraction and 3 counts (a usual hand meter, common practice)."""
        full = next(
            f
            for f in ((0.6, 6, 60, 600) if unit == "A" else (600, 6e3, 6e4) if unit == "ohm" else (6, 60, 600))
            if f >= value
        )
        step = full / 6000
        wrong = value * (1 + fraction * (self.slope[unit] - 1)) + self.rng.uniform(-2.4, 2.4) * step
        return f"{max(round(wrong / step), 0) * step:.{max(0, round(-np.log10(step)))}f}"

    def ohms(self, a, b):
        x, y = self.place(a), self.place(b)
        if x is None or y is None or x[0] != y[0]:
            return "OL"
        return self.meter(abs(x[2] - y[2]) + 0.2, "ohm", 0.008)

    def solve(self, driven, volts):
        """Amps of the driven winding and volts per unit of turns-volts, from the coupled equations."""
        rows = [(driven[0], driven[1])] + ([self.shorted] if self.shorted else [])
        n = np.array([r[0] for r in rows])
        r = np.array([r[1] for r in rows])
        x = self.v0 / self.mag  # magnetising ohms at the turns of the whole primary
        z = np.diag(r) + 1j * x * np.outer(n, n) / self.v0**2 + 1j * np.diag(0.01 * r)
        current = np.linalg.solve(z, np.array([volts] + [0.0] * (len(rows) - 1)))
        flux = 1j * x / self.v0**2 * (n @ current)
        return abs(current[0]), abs(flux)

    def ac(self, pair, volts, a, b):
        x, y = self.place(pair[0]), self.place(pair[1])
        if {a, b} == set(pair):
            return self.meter(volts, "V", 0.01)
        _, flux = self.solve((abs(x[1] - y[1]), abs(x[2] - y[2])), volts)
        p, q = self.place(a), self.place(b)
        return self.meter(flux * abs(p[1] - q[1]), "V", 0.01)


def stretch(leads, volts, ohms):
    return leads, volts, ohms


HT = ("ht1", "htc", "ht2")
KINDS = {
    "plain": {"p": (("a", "b"), (0, 230), (14,)), "ht": (HT, (0, 310, 620), (90, 94)), "r": (("e", "f"), (0, 5.3), (0.06,)),
              "h": (("g", "h", "i"), (0, 3.32, 6.64), (0.03, 0.03))},
    "two primaries": {"p": (("a", "b"), (0, 115), (6.4,)), "q": (("c", "d"), (0, 115), (7.1,)), "ht": (HT, (0, 300, 600), (80, 86)),
                      "h": (("g", "h"), (0, 6.6), (0.05,)), "r": (("e", "f"), (0, 5.25), (0.07,))},
    "bias tap": {"p": (("a", "b"), (0, 230), (12,)), "ht": (("ht1", "tap", "htc", "ht2"), (0, 265, 320, 640), (70, 14, 90)),
                 "h": (("g", "h"), (0, 6.65), (0.04,)), "r": (("e", "f"), (0, 5.2), (0.05,))},
    "colours exchanged": {"p": (("black1", "black2"), (0, 230), (20,)), "ht": (("red1", "redyellow", "red2"), (0, 280, 560), (120, 128)),
                          "h": (("yellow1", "yellow2"), (0, 6.6), (0.06,)), "r": (("green1", "green2"), (0, 5.25), (0.08,))},
    "screen": {"p": (("a", "b"), (0, 230), (14,)), "ht": (HT, (0, 300, 600), (90, 92)), "h": (("g", "h"), (0, 6.7), (0.05,)), "s": (("z",), (0,), ())},
    "american": {"p": (("a", "b"), (0, 120), (3.1,)), "ht": (HT, (0, 345, 690), (75, 79)), "h": (("g", "h", "i"), (0, 3.3, 6.6), (0.02, 0.02)),
                 "r": (("e", "f"), (0, 5.3), (0.05,))},
    "bias winding": {"p": (("a", "b"), (0, 230), (11,)), "ht": (HT, (0, 330, 660), (85, 90)), "h": (("g", "h"), (0, 6.6), (0.04,)),
                     "r": (("e", "f"), (0, 5.25), (0.05,)), "bias": (("m", "n"), (0, 46), (8,))},
    "tapped 115/230": {"p": (("a", "tap", "b"), (0, 115, 230), (6.5, 7.5)), "ht": (HT, (0, 310, 620), (90, 94)), "r": (("e", "f"), (0, 5.3), (0.06,)),
                       "h": (("g", "h"), (0, 6.64), (0.04,))},
    "tapped 220-240": {"p": (("a", "b", "c"), (0, 220, 240), (13, 1.3)), "ht": (HT, (0, 320, 640), (85, 90)), "r": (("e", "f"), (0, 5.27), (0.06,)),
                       "h": (("g", "h"), (0, 6.6), (0.04,))},
    "shorted turn": {"p": (("a", "b"), (0, 230), (14,)), "ht": (HT, (0, 310, 620), (90, 94)), "h": (("g", "h"), (0, 6.6), (0.04,)),
                     "r": (("e", "f"), (0, 5.3), (0.05,))},
}  # fmt: skip
