"""Supply, control, motion, friction: laws of a drive."""
