"""Stop rules the rungs use again and again."""

from firstglow.readings.probe import StopRule

LEAD_OHMS = 0.1  # ohm, earth bond without the cord: IEC 60065 / 62368-1 figure from memory
HEATER_HIGH = 6.9 / 6.3  # of the rated volts: the absolute limit of the makers, +10 % (common practice)
HEATER_LOW = 5.7 / 6.3  # -10 %
AT_SUPPLY = 0.25  # of its computed drop from the supply: less is left, and it stands there (common practice)
NOTHING = 0.25  # of its computed volts: less, and a cathode stands at 0 (common practice)


def above(limit: float, why: str = "") -> StopRule:
    """Signed: stop above."""
    return StopRule("fixed", "", "above", limit, why)


def below(limit: float, why: str = "") -> StopRule:
    """Signed: stop below."""
    return StopRule("fixed", "", "below", limit, why)


def least(fraction: float, why: str = "") -> StopRule:
    """Size under a fraction of the expected."""
    return StopRule("ratio", "", "below", fraction, why)


def no_short(why: str) -> StopRule:
    """Less than half of what the ways drawn between two joints may show, unplugged."""
    return StopRule("path", "", "below", None, why)


def most(fraction: float, why: str = "") -> StopRule:
    """Size over a fraction of the expected."""
    return StopRule("ratio", "", "above", fraction, why)


def within(fraction: float, why: str = "") -> tuple[StopRule, StopRule]:
    """Size off by more than a fraction of the expected, either way."""
    return least(1 - fraction, why), most(1 + fraction, why)


def zero(limit: float, why: str = "") -> StopRule:
    """More than ``limit`` either side of 0."""
    return StopRule("zero", "", "above", limit, why)


def twice_as_slow(why: str = "") -> StopRule:
    """Fallen no further than in half the time (row 26)."""
    return StopRule("slow fall", "", "above", None, why)


def at_supply(supply: str, why: str = "") -> StopRule:
    """An electrode that stands at its supply: nothing flows (rows 29, 30). ``supply``: the joint it is fed from."""
    return StopRule("at supply", supply, "above", AT_SUPPLY, why)


def grid_drift(valve: str) -> StopRule:
    """Volts over the grid leak that drive the valve from its idle to its plate's limit: gas, grid emission or a leak."""
    return StopRule("grid drift", valve, "above", None, "gas, grid emission or a leak")


def hum(least: float, why: str = "") -> StopRule:
    """Three times the computed hum, and more than ``least`` volts (row 41)."""
    return StopRule("hum", "", "above", least, why)


def rating(part: str, share: float | None = None) -> StopRule:
    """Past a capacitor's working volts. ``share``: this dial over the one that the rung proves it for; past this share of
    the rating there, the dial goes no further."""
    limit = share if share is not None and share < 1.0 else None
    return StopRule("capacitor volts", part, "above", limit, "working volts of the capacitor there")


def surge(part: str) -> StopRule:
    """Past a capacitor's surge volts: cold starts only."""
    return StopRule("surge volts", part, "above", None, "surge volts of the capacitor there")


def heater(rated: float, low: bool = False) -> tuple[StopRule, ...]:
    """Heater limits in volts: the upper one always, the lower one where the heater carries its load."""
    top = StopRule("heater", "", "above", rated * HEATER_HIGH, "heater limit, +10 % (makers' sheets)")
    bottom = StopRule("heater", "", "below", rated * HEATER_LOW, "heater limit, -10 % (makers' sheets)")
    return (top, bottom) if low else (top,)


def sign(positive: bool, why: str = "") -> StopRule:
    """The wrong sign."""
    return StopRule("sign", "", "above", 1.0 if positive else -1.0, why)


def over_cathode(drawn: bool) -> StopRule:
    """A grid above its cathode. ``drawn``: the drawing puts it there or nearly so, and no sign is left to stop at, only
    what healthy ones do not reach."""
    return StopRule("grid current" if drawn else "sign", "", "above", -1.0, "grid above its cathode")


def safe_bias(valve: str) -> StopRule:
    """Not negative enough for the strongest valve of the spread (Vsafe)."""
    return StopRule("bias safe", valve, "below", None, "bias that holds the strongest valve at its idle target")


def dissipation(valve: str) -> StopRule:
    """Past what the valve's plate stands at idle."""
    return StopRule("dissipation", valve, "above", None, "plate dissipation limit")
