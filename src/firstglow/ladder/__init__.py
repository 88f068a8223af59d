"""The first power-up as rungs, each ending in a gate or a signed hold."""
