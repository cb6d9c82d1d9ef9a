"""Tests of soakline.siting."""
