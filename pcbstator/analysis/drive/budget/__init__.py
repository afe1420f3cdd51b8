"""The error budget: what each cause does to position and speed, at rest and moving."""
