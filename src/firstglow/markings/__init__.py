"""Markings on parts, and the values that parts are made in: colour bands, letter codes, figure codes, old codes; both
ways. ``read.read(text)``, ``write.marks(value, unit, tolerance)``, ``series.preferred``, ``made``, ``incoming``."""
