"""Siting: where swales may lie, at which levels, and the lines they take."""
