"""The magnets' field around the machine, and what it does to small bodies of steel."""
