"""Tests of the solver through its use cases, against brute force, figures from outside and the standard jobs."""
