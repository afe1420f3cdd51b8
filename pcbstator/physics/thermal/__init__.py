"""Heat: convection, radiation, conduction, networks in time."""
