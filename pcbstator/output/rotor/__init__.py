"""Rotor plates: DXF, assembly sheet, magnets to order."""
