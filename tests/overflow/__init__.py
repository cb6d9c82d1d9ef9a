"""Tests of soakline.overflow."""
