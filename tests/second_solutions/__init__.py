"""Whole amplifiers solved a second time, by hand-written equations, scipy's root and solve_ivp; nothing of the package.

Only numbers come in (part values and the fitted valve laws as plain floats); only numbers go out. Circuits, laws,
rectifier waveforms and the transformer are written again from the house's physics notes, one joint after another, as
one would on paper.
"""
