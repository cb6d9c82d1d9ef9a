"""Drains that lead water along the slope to swales, and the hard surfaces that need one."""
