"""Reads written boards back and solves them: what the files say by themselves, held against the prediction.

Nothing here knows centre-lines, widths or paths of the design: the copper of each layer is what its file draws, holes
are what the drill files drill. What files leave open (thicknesses, plating, magnets, what was predicted) comes as
numbers.
"""
