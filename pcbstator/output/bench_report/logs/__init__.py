"""Motion logs on paper: words for a terminal, pictures, a section of a page."""
