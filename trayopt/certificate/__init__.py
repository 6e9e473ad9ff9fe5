"""F2: proofs of a plan's bounds that are checked without the solver, in whole numbers and fractions; see ``verify``."""
