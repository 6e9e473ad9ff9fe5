"""F1: finding, validating and resolving the entries of models/ and of users' folders, and reading jobs."""
