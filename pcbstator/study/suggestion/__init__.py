"""A handful of designs that do a job and differ in kind: what a file leaves open, parts to be bought, a search."""
