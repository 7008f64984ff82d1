"""The job on a vehicle: what it is, in which order it is measured and set. All of it pure."""
