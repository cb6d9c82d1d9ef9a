"""Tests of what is written."""
