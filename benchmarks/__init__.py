"""Benchmarks: cases, baselines and the run that writes the tables; never imported by the package."""
