"""Tests of the benchmarks: that cases build, baselines keep the rules, and charts and tables say what was measured."""
