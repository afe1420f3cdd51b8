"""What can have made the readings differ from the prediction."""
