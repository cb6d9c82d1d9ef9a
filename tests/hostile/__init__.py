"""Input made by whoever means harm, or by a broken disk."""
