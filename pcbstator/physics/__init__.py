"""The laws: each takes numbers and arrays, never a design, and can be tested from a handbook page."""
