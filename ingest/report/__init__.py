"""The report of a job: what was found, what is left, against which limits, and what proves it."""
