"""The heat balance of this board and the currents it allows."""
