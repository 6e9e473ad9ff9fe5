"""Rules: cases by hand, the registry, and the fence between check and encode."""
