"""Two drawings: the axles as lines, their angles exaggerated, and intervals against limits.

Found is hollow and dashed, left is filled and solid: black and white will do.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from calibration.document.drawing import BLUE, HAIR, INK, ORANGE, SOFT, Drawing, Spot
from calibration.document.plot import FULL_WIDTH
from ingest.job.course.readings import Reading
from ingest.report.figures import Line, printed
from ingest.report.wording import topic_name

MARGIN = 40.0
MOST_SHOWN = math.radians(12.0)
"""The largest angle is drawn as large as this."""
ROUND = (1.0, 2.0, 5.0)
WHEEL_M = 0.45
"""Half the length of the stroke that stands for a wheel."""


@dataclass(frozen=True, slots=True)
class AxleAt:
    """Where an axle stands: metres behind the first, and how wide it is."""

    number: int
    behind_m: float
    track_m: float
    role: str


def axle_lines(axles: Sequence[AxleAt], lines: Sequence[Line]) -> str:
    """Return the axles seen from above, the vehicle driving to the right, as SVG."""
    found = {line.topic: line.found for line in lines}
    left = {line.topic: line.last for line in lines if not line.stale}
    times = _times([r for by in (found, left) for r in by.values() if _turns(r)])
    length_m = max(axle.behind_m for axle in axles)
    per_m = (FULL_WIDTH - 2 * MARGIN) / max(length_m, 1.0)
    per_m = min(per_m, 60.0)
    half_m = max(axle.track_m for axle in axles) / 2.0
    height = 2 * half_m * per_m + 2 * MARGIN + 26.0
    title = "Axle lines as found and as left"
    sheet = Drawing(
        FULL_WIDTH, height, title, f"{len(axles)} axles, angles drawn {times:g} times as large"
    )
    middle = MARGIN + half_m * per_m
    right = FULL_WIDTH - MARGIN
    ends = (right - length_m * per_m - MARGIN / 2, middle), (right + MARGIN / 2, middle)
    sheet.line(*ends, SOFT, 0.6, "7 3 1 3")
    for axle in axles:
        centre = (right - axle.behind_m * per_m, middle)
        _axle(sheet, axle, centre, per_m, found, times, dashed=True)
        _axle(sheet, axle, centre, per_m, left, times, dashed=False)
        words = f"{axle.number} {axle.role}".strip()
        sheet.words((centre[0], height - 30.0), words, 8.5, anchor="middle")
    _key(sheet, height, times)
    return sheet.svg()


def _turns(reading: Reading | None) -> bool:
    return reading is not None and reading.angular and reading.topic.endswith(TURNING)


TURNING = ("/heading", "/toe", "/scrub")


def _times(readings: Sequence[Reading | None]) -> float:
    """Return a round factor by which the largest angle can be seen well."""
    largest = max((abs(r.value) for r in readings if r is not None), default=0.0)
    if largest < 1e-6:
        return 1.0
    wanted = MOST_SHOWN / largest
    power = 10.0 ** math.floor(math.log10(wanted))
    return max((r * power for r in ROUND if r * power <= wanted), default=1.0)


def _axle(
    sheet: Drawing,
    axle: AxleAt,
    centre: Spot,
    per_m: float,
    readings: Mapping[str, Reading | None],
    times: float,
    *,
    dashed: bool,
) -> None:
    """Draw an axle and the direction of its wheels; nothing of it that nobody measured."""
    heading = readings.get(f"axle/{axle.number}/both/heading")
    if heading is None:
        return
    angle = heading.value * times
    colour, width, dash = (ORANGE, 1.0, "4 3") if dashed else (BLUE, 1.6, "")
    half = axle.track_m / 2.0 * per_m
    # The page's Y runs down: the vehicle's left is up, and a turn to the left is one upward.
    across = (-math.sin(angle) * half, -math.cos(angle) * half)
    tips = {
        "left": (centre[0] + across[0], centre[1] + across[1]),
        "right": (centre[0] - across[0], centre[1] - across[1]),
    }
    sheet.line(tips["left"], tips["right"], colour, width, dash)
    for side, tip in tips.items():
        toe = readings.get(f"axle/{axle.number}/{side}/toe")
        if toe is None:
            continue
        wheel = -(1.0 if side == "left" else -1.0) * toe.value * times
        step = (math.cos(wheel) * WHEEL_M * per_m, -math.sin(wheel) * WHEEL_M * per_m)
        sheet.line(
            (tip[0] - step[0], tip[1] - step[1]),
            (tip[0] + step[0], tip[1] + step[1]),
            colour,
            width + 1.0,
            dash,
        )


def _key(sheet: Drawing, height: float, times: float) -> None:
    at = height - 10.0
    sheet.line((MARGIN, at - 3), (MARGIN + 22, at - 3), ORANGE, 1.0, "4 3")
    sheet.words((MARGIN + 27, at), "as found", 8.5)
    sheet.line((MARGIN + 90, at - 3), (MARGIN + 112, at - 3), BLUE, 1.6)
    sheet.words((MARGIN + 117, at), "as left", 8.5)
    text = f"angles {times:g} times as large; front to the right"
    sheet.words((FULL_WIDTH - MARGIN, at), text, 8.5, SOFT, anchor="end")


ROW = 17.0
NAMES = 178.0
FIGURES = 92.0
SHOWN = 2.6
"""How far beyond the middle a result is drawn, in half widths of its limits."""


def intervals(lines: Sequence[Line]) -> str:
    """Return each result with its U against its own limits, all on one scale, as SVG.

    A scale runs from limit to limit: both stand at the same place in every row.
    """
    shown = [line for line in lines if _two_sided(line)]
    height = ROW * len(shown) + 46.0
    sheet = Drawing(
        FULL_WIDTH, height, "Results against their limits", f"{len(shown)} results with two limits"
    )
    middle = NAMES + (FULL_WIDTH - NAMES - FIGURES) / 2.0
    half = (FULL_WIDTH - NAMES - FIGURES) / 2.0 / SHOWN
    foot = height - 24.0
    for edge, name in ((-1.0, "lower limit"), (1.0, "upper limit")):
        across = middle + edge * half
        sheet.line((across, 14.0), (across, foot), INK, 0.9, "5 3")
        sheet.words((across, 10.0), name, 8.5, anchor="middle")
    for number, line in enumerate(shown):
        up = 24.0 + ROW * number
        sheet.line((NAMES, up), (FULL_WIDTH - FIGURES, up), HAIR, 0.5)
        sheet.words((NAMES - 6, up + 3), topic_name(line.topic), 8.5, anchor="end")
        _interval(sheet, line.found, up - 2.6, middle, half, hollow=True)
        last = line.last
        if not line.stale:
            _interval(sheet, last, up + 2.6, middle, half, hollow=False)
        if last is not None:
            text = "no longer holds" if line.stale else printed(last).screen()
            sheet.words((FULL_WIDTH, up + 3), text, 8.5, anchor="end")
    sheet.mark((NAMES, height - 8), "square", ORANGE)
    sheet.words((NAMES + 7, height - 5), "as found", 8.5)
    sheet.mark((NAMES + 70, height - 8), "disc", BLUE)
    sheet.words((NAMES + 77, height - 5), "as left, with U", 8.5)
    return sheet.svg()


def _two_sided(line: Line) -> bool:
    last = line.last
    limit = None if last is None else last.limit
    return limit is not None and limit.low is not None and limit.high is not None


def _interval(
    sheet: Drawing, reading: Reading | None, up: float, middle: float, half: float, *, hollow: bool
) -> None:
    if reading is None or reading.limit is None:
        return
    low, high = reading.limit.low, reading.limit.high
    if low is None or high is None:
        return
    centre, reach = (low + high) / 2.0, (high - low) / 2.0

    def at(value: float) -> float:
        return middle + half * max(-SHOWN, min(SHOWN, (value - centre) / reach))

    colour = ORANGE if hollow else BLUE
    ends = at(reading.value - reading.U), at(reading.value + reading.U)
    sheet.line((ends[0], up), (ends[1], up), colour, 0.9 if hollow else 1.4)
    beyond = abs(reading.value - centre) > SHOWN * reach
    if beyond:
        way = 1.0 if reading.value > centre else -1.0
        tip = (middle + way * half * SHOWN, up)
        sheet.path([(tip[0] - 5 * way, up - 3), tip, (tip[0] - 5 * way, up + 3)], colour, 1.2)
        return
    sheet.mark((at(reading.value), up), "square" if hollow else "disc", colour, 2.2)
