"""The stator handed on: copper, edge and holes as outlines for any board editor, and the room left beside it."""
