"""Drawings of boards at true scale."""
