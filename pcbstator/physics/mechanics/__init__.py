"""Inertia and magnetic force."""
