"""One command a file; the file's name is the command's, and its ``command`` is a click command."""
