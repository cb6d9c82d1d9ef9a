"""Tests of soakline.terrain."""
