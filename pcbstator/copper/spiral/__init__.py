"""The spiral winding: parallel outlines and the coil that follows them."""
