"""The order of work: the shortest plan of mountings, measurements and adjustments."""
