"""Figures from outside, each with its source beside it."""
