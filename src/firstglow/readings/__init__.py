"""What a meter must show: meters, spreads, bands, stop limits, verdicts."""
