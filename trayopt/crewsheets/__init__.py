"""F4: the sheets for the crew at the wall: one self-contained page for each plan, with its lists and pictures."""
