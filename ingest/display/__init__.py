"""The ramp-side display: static files for any browser, and the small server that hands them out."""
