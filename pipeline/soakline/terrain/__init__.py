"""Terrain: the ground that lines follow, and where every drop on it goes."""
