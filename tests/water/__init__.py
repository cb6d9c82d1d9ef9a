"""Tests of soakline.water."""
