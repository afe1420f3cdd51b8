"""Readings of a built machine beside its prediction."""
