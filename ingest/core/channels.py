"""The channels of a measuring head: their names, kinds and units.

Inside the program angles are radians and temperatures degrees Celsius. The wire carries
1e-4 of a degree; the edges show degrees.
"""

from enum import StrEnum


class Channel(StrEnum):
    """One quantity that a head reads. The names are those of the topics."""

    INCL_X = "incl_x"
    """Elevation of the head's forward axis."""
    INCL_Y = "incl_y"
    """Elevation of the head's left axis, which lies along the stub shaft."""
    ROTATION = "rotation"
    """Turn of the wheel relative to the head, by the encoder on the stub shaft."""
    AZIMUTH_CROSS = "azimuth_cross"
    """Direction of the sightline across the vehicle, in the head's own x-y plane."""
    AZIMUTH_TRACK = "azimuth_track"
    """Direction of the sightline along the vehicle, in the head's own x-y plane."""
    STEER = "steer"
    """Turn of the plate under the wheel."""
    TEMPERATURE = "temperature"
    """Inside the head, degrees Celsius."""
    INCL_Z = "incl_z"
    """Elevation of the head's up axis."""


CHANNELS: tuple[Channel, ...] = tuple(Channel)
"""All channels in the order of a sample block's rows: first those of set 0, then of set 1."""

ROW: dict[Channel, int] = {channel: row for row, channel in enumerate(CHANNELS)}
"""Row of a channel in a sample block."""

ANGLES: tuple[Channel, ...] = tuple(c for c in CHANNELS if c is not Channel.TEMPERATURE)

CIRCULAR: frozenset[Channel] = frozenset(
    {Channel.ROTATION, Channel.AZIMUTH_CROSS, Channel.AZIMUTH_TRACK, Channel.STEER}
)
"""Channels that wrap at a full turn; the others are elevations within a right angle."""
