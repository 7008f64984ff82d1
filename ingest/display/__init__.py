"""The ramp-side page: one file of HTML, and the small server that feeds it."""
