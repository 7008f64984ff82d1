"""The one ornament: a scale of degrees beneath the title, as on the instruments it speaks of."""

from calibration.document.drawing import BLUE, Drawing
from calibration.document.plot import FULL_WIDTH

HEIGHT = 12.0
DIVISIONS = 180
TICKS = ((10, 9.0, 0.8), (5, 6.5, 0.6), (1, 3.5, 0.4))
"""Every how many divisions, how long, how thick; the first that fits counts."""


def ruler() -> str:
    """Return the scale as SVG, as wide as the text."""
    sheet = Drawing(FULL_WIDTH, HEIGHT, "", "")
    sheet.line((0, 0.5), (FULL_WIDTH, 0.5), BLUE, 1.0)
    for i in range(DIVISIONS + 1):
        length, width = next((size, w) for every, size, w in TICKS if i % every == 0)
        across = min(max(i * FULL_WIDTH / DIVISIONS, width / 2), FULL_WIDTH - width / 2)
        sheet.line((across, 0.5), (across, 0.5 + length), BLUE, width)
    return sheet.svg()
