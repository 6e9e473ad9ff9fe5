"""F4: why not: conflicts, ways out, in the crew's words."""
