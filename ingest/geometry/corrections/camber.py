"""Camber of a beam axle: measured here, adjusted nowhere."""

from ingest.geometry.corrections.wanted import Correction, Step, Wanted

TEXT = (
    "Camber of a beam axle cannot be adjusted: turn nothing. Look for play in wheel bearings and "
    "kingpins, measure again, and refer the axle to its maker. Never bend or heat it."
)


def refer_camber(wanted: Wanted) -> Correction:
    """Return that nothing may be adjusted, and who is to be asked."""
    step = Step("axle beam", "refer to the axle maker", TEXT, wanted.side)
    return Correction((step,), (wanted.changed(0.0),), (), adjustable=False)
