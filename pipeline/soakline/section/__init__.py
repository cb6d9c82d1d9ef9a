"""Section: the shape of trench and mound, as plain geometry."""
