"""What would meet a requirement that is not met: changes tried on the design itself."""
