"""From what was measured to what is known: readings, their comparison with the prediction, and what it points to."""
