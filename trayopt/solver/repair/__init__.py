"""The nearest plan to given decisions, and bounds on how many of them must change."""
