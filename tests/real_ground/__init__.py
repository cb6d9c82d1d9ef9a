"""Terrain that was surveyed, not made up."""
