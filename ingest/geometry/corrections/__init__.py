"""What to turn, and how much: one small file for each kind of adjuster."""
