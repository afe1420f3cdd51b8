"""Words in, calls out."""
