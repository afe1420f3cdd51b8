"""What the built motor says: readings, their comparison with the prediction, causes."""
