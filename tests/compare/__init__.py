"""Tests of what changed between two plans."""
