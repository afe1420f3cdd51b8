"""The sections of a design file as records."""
