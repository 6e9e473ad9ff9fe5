"""F2: one goal a file, and the order in which they count. Never imports the solver."""
