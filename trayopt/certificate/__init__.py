"""F2: what makes the bounds of a plan checkable without the solver, in whole numbers and fractions; see ``verify``."""
