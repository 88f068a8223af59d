"""Slips of the pen and of the probe that explain a wrong figure: missed sign, mV for V, kΩ for MΩ, a decimal point."""

from math import isfinite

from firstglow.readings.expected import ExpectedReading


def slip(reading: ExpectedReading, value: float) -> str:
    """What was probably meant, in bench words; "" where no single slip puts ``value`` [SI] into the band."""
    low, high = reading.low, reading.high
    if low is None or high is None or not isfinite(value) or value == 0.0:
        return ""

    def fits(candidate: float) -> bool:
        # a figure of nothing fits every slip: only a candidate clear of zero says anything
        return low <= candidate <= high and abs(candidate) > (high - low) / 4

    if fits(-value):
        return "only the sign is wrong: red and black exchanged, or the minus left out; read it again with the sign"
    for factor, texts in (
        (1e-3, {"V": "mV typed as V", "A": "mA typed as A", "ohm": "Ω typed as kΩ, or kΩ as MΩ"}),
        (1e3, {"V": "V typed as mV", "A": "A typed as mA", "ohm": "kΩ typed as Ω, or MΩ as kΩ"}),
        (1e6, {"ohm": "MΩ typed as Ω"}),
        (0.1, {"V": "the decimal point one place too far right", "A": "", "ohm": ""}),
        (10.0, {"V": "the decimal point one place too far left", "A": "", "ohm": ""}),
    ):
        text = texts.get(reading.unit or "", "")
        if text and fits(value * factor):
            return f"{text}? {reading.text(value * factor)} would be right; look at the meter's unit again"
    return ""
