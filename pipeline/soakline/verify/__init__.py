"""Measures a finished plan anew. Shares no code with what made it: see `pyproject.toml`."""
