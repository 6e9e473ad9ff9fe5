"""The lexicographic search over the goals."""
