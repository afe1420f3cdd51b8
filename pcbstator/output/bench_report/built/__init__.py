"""The motor as built in words, as a section of the page, and as files for its drive."""
