"""What recorded motion says: a slow turn, the sensor's curve, stops, small steps, moves and coast-downs."""
