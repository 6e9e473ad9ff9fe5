"""F4: reviewing plans: reading hand-made tables, findings and advice, completing a plan, and the nearest good plan."""
