"""From bench files to a draft record: readings fitted, coefficients put together."""
