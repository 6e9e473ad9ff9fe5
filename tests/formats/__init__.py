"""Tests of what is read and written."""
