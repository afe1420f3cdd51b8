"""Lays the laws on the copper; returns frozen result records."""
