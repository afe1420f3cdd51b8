"""Resistance, inductance, losses and ratings of this copper."""
