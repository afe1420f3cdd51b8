"""Runs of the drive in time, and what is measured on them."""
