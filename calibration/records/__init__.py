"""The calibration record: immutable, hashed, signed, chained to the head's previous one."""
