"""The whole job, pure: vehicle, limits, order of work, and the course of one job."""
