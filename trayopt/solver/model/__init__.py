"""The model: literals, ways, the whole model, the poster of rules, one run of the solver, decisions and groups as plain data."""
