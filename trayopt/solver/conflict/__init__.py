"""Minimal unsatisfiable subsets of groups, and what it costs to give groups up."""
