"""The commands. A file has the name of its command, and its ``command`` is the click command."""
