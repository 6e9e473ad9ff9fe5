"""The lists, each in a file of its own, with a function that makes a table from the book."""
