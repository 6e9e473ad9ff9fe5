"""F2: one rule a file, and the ordered registry of all of them. Never imports the solver."""
