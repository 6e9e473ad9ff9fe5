"""Tests of plain data and counting."""
