"""Tests of soakline."""
