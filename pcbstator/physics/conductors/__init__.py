"""Resistance, trace current, eddies: laws of a conductor."""
