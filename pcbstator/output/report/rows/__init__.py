"""Rows of the tables of a report."""
