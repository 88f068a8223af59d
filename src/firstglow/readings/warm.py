"""How warm a winding is, from its ohms cold and warm."""

# Copper: +0.393 % of its ohms at 20 degC a kelvin (IEC 60028).
COPPER_PER_KELVIN = 0.00393
# K over cold that an ordinary old transformer's insulation stands (common practice).
MOST_KELVIN = 60.0


def times(kelvin: float) -> float:
    """Ohms over cold ohms of copper that was at 20 degC and is ``kelvin`` warmer."""
    return 1.0 + COPPER_PER_KELVIN * kelvin


def rise(cold_ohms: float, warm_ohms: float) -> float:
    """Kelvin that copper has warmed by since it was at 20 degC. ZeroDivisionError for no cold ohms."""
    return (warm_ohms / cold_ohms - 1.0) / COPPER_PER_KELVIN
