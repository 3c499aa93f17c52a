"""Forms in which a set is exchanged with others: one module each, found through `registry`."""
