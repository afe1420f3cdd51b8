"""Inductance: closed forms and sums over tracks."""
