"""Files to order a board."""
