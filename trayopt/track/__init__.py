"""F1: the ring and the routes on it, to the millimetre, and the graph of trunks. Knows no rules."""
