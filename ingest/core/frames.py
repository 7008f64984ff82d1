"""Frames and signs, in one place.

Vehicle frame after ISO 8855: X forward, Y left, Z up (the local vertical), right-handed.
All plan angles are counter-clockwise from above. A head's body is forward-left-up on BOTH
sides, so a true wheel has its head's axes parallel to the vehicle's::

                      X forward
                      ^
       left wheel     |      right wheel          camber  + top leans outward
       +--+           |           +--+            toe     + front points to the centre line
       |  |--> x      |           |  |--> x       heading + steers to the left
    y<-+  |   (head)  |        y<-+  | (head)     rotation + rolls forward (about +Y, both sides)
       |  |           |           |  |            SAI     + top of the axis leans inward
       +--+  Y left <-+           +--+            caster  + top of the axis leans rearward
                     Z up, out of the page

With the outward spin axis o (unit vector): camber = -asin(o_z), toe = atan2(o_x, side*o_y),
wheel heading = -side*toe, total toe = toe_left + toe_right.
The program mostly uses the LEFT spin axis a = side*o: camber = -side*elevation(a), and
wheel heading = heading(a) - 90 deg on both sides, so that ``side`` enters only at the end.
"""

from enum import StrEnum


class Side(StrEnum):
    """Which side of the vehicle, seen by its driver."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def sign(self) -> int:
        """+1 on the left, -1 on the right."""
        return 1 if self is Side.LEFT else -1

    @property
    def other(self) -> "Side":
        """The side across the vehicle."""
        return Side.RIGHT if self is Side.LEFT else Side.LEFT
