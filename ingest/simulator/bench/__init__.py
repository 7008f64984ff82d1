"""A simulated calibration bench: plate, sine bar, indexing spindle, reference bar, two heads."""
