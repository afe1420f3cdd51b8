"""What to buy around the stator: driver, supply, wires, sensor and screws, as ranges that follow from the design."""
