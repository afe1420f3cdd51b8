"""Written boards read back and solved: in words, and as a page with pictures."""
