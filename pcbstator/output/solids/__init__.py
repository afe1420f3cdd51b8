"""The motor as solids for mechanical design (STEP) and as a light model for a page (GLB)."""
