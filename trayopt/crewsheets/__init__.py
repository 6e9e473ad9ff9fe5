"""F4: what the crew needs at the wall: one self-contained page each."""
