"""Are the parts fit? What the amplifier does to them over seconds, and what stays charged."""
