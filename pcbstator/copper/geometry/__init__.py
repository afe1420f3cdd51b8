"""Outlines, the bare board, distances: the shapes that copper is made of and must keep from."""
