"""Overflow: sills, routes and safe ends."""
