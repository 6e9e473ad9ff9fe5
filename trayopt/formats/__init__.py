"""F1: reading and writing YAML, JSON, CSV and XLSX. Every fault names its file, line and column."""
