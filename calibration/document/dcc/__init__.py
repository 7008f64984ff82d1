"""A calibration record as a Digital Calibration Certificate (DCC 3.3.0 with D-SI 2.2)."""
