"""Many designs at once: sweeps, searches for the best few, and what they teach."""
