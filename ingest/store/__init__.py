"""What outlives the service, in one SQLite file: names, records, published results, checks."""
