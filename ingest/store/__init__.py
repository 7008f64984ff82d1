"""What outlives the service: head names and calibration records, in one SQLite file."""
