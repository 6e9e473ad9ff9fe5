"""F1: yaml, json, csv and xlsx in and out; every fault with its file, line and column."""
