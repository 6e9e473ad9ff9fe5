"""Explanations: conflicts, ways out, preferences, expected plans, bounds."""
