"""Primal heuristics: plans found soon, which bounds then prove."""
