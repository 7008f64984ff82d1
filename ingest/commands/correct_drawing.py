"""A work sheet of a correction: each step with a drawing of its part, for the side of the vehicle.

It repeats the figures and not the cautions, and says that these come first.
"""

import textwrap

from calibration.document.drawing import HAIR, INK, SOFT, Drawing
from calibration.document.plot import FULL_WIDTH
from ingest.commands.correct_glyphs import HEIGHT, WIDTH, Glyph
from ingest.commands.correct_text import (
    AFTERWARDS,
    NAMES,
    beyond_limits,
    expected,
    heading,
    left_alone,
)
from ingest.core.errors import InputError
from ingest.core.frames import Side
from ingest.core.units import DEG
from ingest.geometry.corrections.wanted import LEAVE, Correction, Step
from ingest.payload.adjusters import (
    BarPinPositions,
    CasterWedges,
    EccentricPivots,
    LateralShimPack,
    ShimPacks,
    SteeringStopTable,
)
from ingest.payload.correction import AnyFile

EDGE, GAP, LEADING, SIZE = 10.0, 10.0, 12.0, 9.0
LETTER = 4.35
"""Width of a letter of the text, on average and a little more."""
ROOM = FULL_WIDTH - 2 * EDGE
STEP_ROOM = ROOM - WIDTH - GAP

FIRST = (
    "Before anything is loosened: chock the wheels that stay down, and read what this correction "
    "is printed with, its cautions and what else it changes. The vehicle maker's instructions and "
    "local codes come first."
)
MM = 1e3


def drawn(file: AnyFile, correction: Correction) -> str:
    """Return the sheet as SVG text.

    Raises:
        InputError: nothing may be turned, so there is nothing to draw.
    """
    if not correction.adjustable:
        reason = "nothing may be turned here, so there is nothing to draw; leave it out"
        raise InputError("--drawing", None, reason)
    above, below = _above(correction), _below(correction)
    steps = [_lines(f"{n}. {s.text}", STEP_ROOM) for n, s in enumerate(correction.steps, 1)]
    heights = [max(HEIGHT, LEADING * len(lines)) + GAP for lines in steps]
    high = 2 * (EDGE + GAP) + LEADING * (len(above) + len(below)) + sum(heights)
    name = NAMES[correction.outcomes[0].wanted.quantity]
    told = f"{len(steps)} step{'' if len(steps) == 1 else 's'} to correct the {name}"
    sheet = Drawing(FULL_WIDTH, high, f"Correction of the {name}", told)
    y = _write(sheet, above, EDGE, EDGE, INK) + GAP
    for step, lines, height in zip(correction.steps, steps, heights, strict=True):
        sheet.line((EDGE, y), (FULL_WIDTH - EDGE, y), HAIR)
        _draw(Glyph(sheet, EDGE + WIDTH / 2.0, y + height / 2.0), file, step)
        _write(sheet, lines, EDGE + WIDTH + GAP, y + (height - LEADING * len(lines)) / 2.0, INK)
        y += height
    sheet.line((EDGE, y), (FULL_WIDTH - EDGE, y), HAIR)
    _write(sheet, below, EDGE, y + GAP, SOFT)
    return sheet.svg()


def _above(correction: Correction) -> list[str]:
    texts = [*beyond_limits(correction), *map(heading, correction.outcomes), FIRST]
    if not correction.worth_doing:
        texts += left_alone(correction)
    return [line for text in texts for line in _lines(text, ROOM)]


def _below(correction: Correction) -> list[str]:
    texts = [*map(expected, correction.outcomes), *([AFTERWARDS] if correction.changes else [])]
    return [line for text in texts for line in _lines(text, ROOM)]


def _lines(text: str, room: float) -> list[str]:
    return textwrap.wrap(text, int(room / LETTER), break_on_hyphens=False)


def _write(sheet: Drawing, lines: list[str], x: float, y: float, colour: str) -> float:
    """Write lines below each other, and return where the next would begin."""
    for line in lines:
        y += LEADING
        sheet.words((x, y - 3.0), line, SIZE, colour)
    return y


def _draw(glyph: Glyph, file: AnyFile, step: Step) -> None:
    """Draw what a step changes."""
    adjuster, side = file.adjuster, step.side or Side.LEFT
    longer = None if step.action == LEAVE else (step.length_m or 0.0) > 0.0
    match adjuster:
        case ShimPacks():
            glyph.packs(getattr(adjuster.fitted, side.value), _pack_mm(step))
        case LateralShimPack():
            glyph.packs(adjuster.fitted, _pack_mm(step))
        case EccentricPivots():
            now = getattr(adjuster.at_deg, side.value) * DEG
            glyph.eccentric(now, now + (step.set_turn_rad or 0.0))
        case BarPinPositions():
            now_m = getattr(adjuster.at, side.value)
            glyph.names(now_m, _position(adjuster, now_m, step.length_m or 0.0))
        case CasterWedges():
            now = getattr(adjuster.fitted_deg, side.value) * DEG
            glyph.wedge(now, step.set_turn_rad or 0.0)
        case SteeringStopTable():
            glyph.bolt(longer)
        case _:
            glyph.rod(longer)


def _pack_mm(step: Step) -> list[float]:
    return [thickness * MM for thickness in step.thicknesses_m or ()]


def _position(pins: BarPinPositions, now: str, move_m: float) -> str:
    """Return the position that lies so far forward of the one that a pin has now."""
    forward_mm = {each.name: each.forward_mm for each in pins.positions}
    wanted = forward_mm[now] + move_m * MM
    return min(forward_mm, key=lambda name: abs(forward_mm[name] - wanted))
