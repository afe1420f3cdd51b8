"""Direct current in the copper of a board as it is drawn, by finite elements.

Every layer is a sheet with the outline that its file draws, less the drilled holes; div(sigma·t·grad V) = 0 holds in
it, and no current leaves it but at the walls of plated holes and at terminals.
"""
