"""What single pieces of copper look like: rings around holes, ends of tracks, places narrower than they should be."""
