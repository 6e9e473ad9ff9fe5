"""Tests of starters of hardware."""
