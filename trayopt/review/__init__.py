"""F4: somebody's plan on the reviewer's desk: hand-made tables, findings, the rest filled in, the nearest good plan."""
