"""The report of a design and of a simulation."""
