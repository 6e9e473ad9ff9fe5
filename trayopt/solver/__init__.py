"""F3: the only importer of the solver."""
