"""F3: measures and judges a plan from plain data; never imports the solver."""
