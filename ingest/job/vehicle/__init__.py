"""A vehicle: its units, axles, adjusters, and the sightlines that its own parts block."""
