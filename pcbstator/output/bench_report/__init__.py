"""Pages, pictures and words about readings of a built motor."""
