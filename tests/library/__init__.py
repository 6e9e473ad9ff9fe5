"""Tests of the library and of reading jobs."""
