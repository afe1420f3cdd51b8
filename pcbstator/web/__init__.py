"""The page to design on: a local server for one design. Words in, calls out; the page has no law of its own."""
