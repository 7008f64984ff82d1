"""The filter chain: raw samples of one head in, calibrated, decimated, settled blocks out."""
