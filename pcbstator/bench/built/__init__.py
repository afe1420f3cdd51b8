"""The motor as it was built: the design with what readings and logs say, what is left open of it, its commissioning."""
