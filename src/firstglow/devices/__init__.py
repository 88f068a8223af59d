"""Valves, rectifiers, lamps and the rest: equations, derivatives, published data and the fit between the two."""
