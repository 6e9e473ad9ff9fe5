"""F7: the commands, one a file."""
