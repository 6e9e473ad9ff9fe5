"""Relaxations: each a small model that bounds goals of the whole one."""
