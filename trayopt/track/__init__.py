"""F1: the ring of guides, the routes on it to the millimetre, and the graph of trunks. This room knows no rules."""
