"""Damaged files of every kind that trayopt reads: made by rules of their grammar, and read as a command reads them."""
