"""Equations, elimination and solutions. Knows devices; never meters, formatting or screens."""
