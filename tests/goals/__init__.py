"""Goals, measured by hand."""
