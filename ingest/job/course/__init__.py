"""The course of one job: what was done, what comes next, what it found. Events in, state out."""
