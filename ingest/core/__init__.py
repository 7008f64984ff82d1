"""Values that cross borders, units, frames and signs, errors, counters and ports."""
