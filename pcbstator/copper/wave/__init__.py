"""The wave winding: active conductors joined by end windings."""
