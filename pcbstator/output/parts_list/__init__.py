"""Everything that a motor is built of, as one list: how many, how large, of what, and where it goes."""
