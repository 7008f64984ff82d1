"""Small drawings of the parts of a correction: what is changed on them, before and after.

What was is drawn dashed, what is to be in full lines; nothing is to scale but shim packs.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calibration.document.drawing import BLUE, INK, PAPER, SOFT, Drawing, Spot

HEIGHT = 46.0
WIDTH = 150.0
SMALL = 8.0

ROD_LONG, ROD_THICK, ARROW = 76.0, 7.0, 15.0
MOST_PER_MM, PACK_WIDE, PACK_HIGH = 3.0, 34.0, 30.0
ECCENTRIC, PIN = 15.0, 2.4
WEDGE_LONG, WEDGE_THIN, WEDGE_SLOPE, WEDGE_MOST = 80.0, 6.0, 0.12, 24.0
CORNERS = 36


@dataclass(frozen=True, slots=True)
class Glyph:
    """A sheet and the middle of the place on it where one part is drawn."""

    sheet: Drawing
    x: float
    y: float

    def rod(self, longer: bool | None) -> None:
        """Draw a rod between two joints that grows, shrinks, or stays (None)."""
        half = ROD_LONG / 2.0
        corner = (self.x - half, self.y - ROD_THICK / 2.0)
        self.sheet.box(corner, ROD_LONG, ROD_THICK, INK, PAPER)
        for end in (-1.0, 1.0):
            self.sheet.mark((self.x + end * half, self.y), "disc", INK, 5.0)
            if longer is not None:
                self._arrow(end * (half + 16.0), end if longer else -end)

    def bolt(self, longer: bool | None) -> None:
        """Draw a stop bolt in its nut, its head towards the pad that it meets."""
        left, pad = self.x - 40.0, self.x + 46.0
        self.sheet.box((left, self.y - 9.0), 18.0, 18.0, INK, PAPER)
        self.sheet.box((left + 18.0, self.y - 3.5), 34.0, 7.0, INK, PAPER)
        self.sheet.line((pad, self.y - 16.0), (pad, self.y + 16.0), INK, 2.0)
        if longer is not None:
            self._arrow(16.0, 1.0 if longer else -1.0)

    def packs(self, now_mm: Sequence[float], then_mm: Sequence[float]) -> None:
        """Draw a pack of shims as it is and as it must be, both to one scale."""
        now_mm, then_mm = sorted(now_mm, reverse=True), sorted(then_mm, reverse=True)
        highest = max(math.fsum(now_mm), math.fsum(then_mm), 1e-9)
        per_mm = min(MOST_PER_MM, PACK_HIGH / highest)
        for middle, pack, word in ((-38.0, now_mm, "now"), (38.0, then_mm, "then")):
            y = self.y + HEIGHT / 2.0 - 12.0
            for thickness in pack:
                y -= thickness * per_mm
                corner = (self.x + middle - PACK_WIDE / 2.0, y)
                self.sheet.box(corner, PACK_WIDE, thickness * per_mm, INK, PAPER)
            told = f"{word} {math.fsum(pack):.4g} mm"
            at = (self.x + middle, self.y + HEIGHT / 2.0 - 2.0)
            self.sheet.words(at, told, SMALL, SOFT, "middle")
        if now_mm != then_mm:
            self._arrow(0.0, 1.0)

    def eccentric(self, now_rad: float, then_rad: float) -> None:
        """Draw an eccentric seen so that the front is on the right: its middle stands upright."""
        turn = [math.tau * i / CORNERS for i in range(CORNERS + 1)]
        edge = [self._polar(ECCENTRIC, angle) for angle in turn]
        self.sheet.path(edge, INK, 1.0)
        for angle, dash, colour in ((now_rad, "3 2", SOFT), (then_rad, "", INK)):
            end = self._polar(ECCENTRIC, angle)
            self.sheet.line((self.x, self.y), end, colour, 1.0, dash)
            self.sheet.mark(end, "square" if dash else "disc", colour, PIN)
        self.sheet.words((self.x + 22.0, self.y + 3.0), "front", SMALL, SOFT)
        self.sheet.words((self.x - 22.0, self.y + 3.0), "rear", SMALL, SOFT, "end")

    def names(self, now: str, then: str) -> None:
        """Write the position that a pin is taken out of, and the one that it goes into."""
        for dy, word, name, colour in ((-6.0, "now", now, SOFT), (10.0, "then", then, INK)):
            self.sheet.words((self.x - 40.0, self.y + dy), word, SMALL, SOFT, "end")
            self.sheet.words((self.x - 34.0, self.y + dy), name[:24], SMALL, colour)

    def wedge(self, now_rad: float, then_rad: float) -> None:
        """Draw a wedge from the left side, the front on the left: its slope is exaggerated."""
        for angle, dash, colour in ((now_rad, "3 2", SOFT), (then_rad, "", INK)):
            if angle or not dash:
                self.sheet.path(self._wedge(angle), colour, 1.0, dash)
        y = self.y + HEIGHT / 2.0 - 2.0
        self.sheet.words((self.x - WEDGE_LONG / 2.0, y), "front", SMALL, SOFT)
        self.sheet.words((self.x + WEDGE_LONG / 2.0, y), "rear", SMALL, SOFT, "end")

    def _wedge(self, angle_rad: float) -> list[Spot]:
        """Return the outline of a wedge, thick end to the rear where positive."""
        rise = min(WEDGE_SLOPE * WEDGE_LONG * abs(math.degrees(angle_rad)), WEDGE_MOST)
        front = WEDGE_THIN + (rise if angle_rad < 0.0 else 0.0)
        rear = WEDGE_THIN + (rise if angle_rad > 0.0 else 0.0)
        left, right = self.x - WEDGE_LONG / 2.0, self.x + WEDGE_LONG / 2.0
        foot = self.y + 10.0
        return [
            *((left, foot), (right, foot), (right, foot - rear)),
            *((left, foot - front), (left, foot)),
        ]

    def _polar(self, radius: float, angle_rad: float) -> Spot:
        """Return a spot at an angle from upright, to the right positive."""
        return self.x + radius * math.sin(angle_rad), self.y - radius * math.cos(angle_rad)

    def _arrow(self, middle: float, way: float) -> None:
        """Draw an arrow along the sheet, to the right where ``way`` is positive."""
        x = self.x + middle
        tail, tip = (x - way * ARROW / 2.0, self.y), (x + way * ARROW / 2.0, self.y)
        self.sheet.line(tail, tip, BLUE, 1.4)
        for side in (-3.5, 3.5):
            self.sheet.line((tip[0] - way * 5.0, tip[1] + side), tip, BLUE, 1.4)
