"""The lists, one file each: every function takes the book and gives tables."""
