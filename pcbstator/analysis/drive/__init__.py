"""The drive at its job: sizing, gains, simulation."""
