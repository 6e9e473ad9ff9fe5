"""Benchmarks: cases, baselines and the run that writes the tables; never imported by the package."""

import os

os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # where it is set, each child would compile all of trayopt again
