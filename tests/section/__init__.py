"""Tests of soakline.section."""
