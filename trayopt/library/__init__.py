"""F1: finds, validates and resolves the entries of models/ and of users' folders."""
