"""The check room: figures, mutations, and the brute-force oracle."""
