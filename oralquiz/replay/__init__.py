"""A finished session, step by step: the story, the drawing, the page, the terminal."""
