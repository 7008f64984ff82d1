"""SVG by hand: a sheet on which lines, marks and words are put, readable in black and white."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Literal

from lxml import etree

from calibration.document.plain import printable

SVG = "http://www.w3.org/2000/svg"
FONTS = "Libertinus Serif, Palatino, Georgia, serif"
"""The first is the one that the PDF is set in; a browser takes what it has."""

INK = "#1c2733"
SOFT = "#66707a"
HAIR = "#d5dade"
BLUE = "#1b5a94"
ORANGE = "#b35a00"
PAPER = "#ffffff"

Shape = Literal["disc", "square", "diamond"]
Anchor = Literal["start", "middle", "end"]
Spot = tuple[float, float]
Look = dict[str, str | float]


@dataclass(slots=True)
class Drawing:
    """A sheet under work. Lengths are in units of its view box, one of which is a point."""

    width: float
    height: float
    title: str
    description: str
    root: etree._Element = field(init=False)

    def __post_init__(self) -> None:
        box = f"0 0 {_text(self.width)} {_text(self.height)}"
        self.root = etree.fromstring(f'<svg xmlns="{SVG}" viewBox="{box}" role="img"/>')
        self._add("title").text = printable(self.title)
        self._add("desc").text = printable(self.description)

    def line(self, a: Spot, b: Spot, colour: str, width: float = 0.75, dash: str = "") -> None:
        """Draw a straight line."""
        ends = {"x1": a[0], "y1": a[1], "x2": b[0], "y2": b[1]}
        self._add("line", **ends, **_stroke(colour, width, dash))

    def path(self, spots: Sequence[Spot], colour: str, width: float, dash: str = "") -> None:
        """Draw a line through all spots."""
        joined = {"stroke-linejoin": "round", "stroke-linecap": "round"}
        stroke = _stroke(colour, width, dash)
        self._add("polyline", points=_spots(spots), fill="none", **stroke, **joined)

    def area(self, spots: Sequence[Spot], colour: str, opacity: float) -> None:
        """Fill what the spots enclose."""
        self._add("polygon", points=_spots(spots), fill=colour, **{"fill-opacity": opacity})

    def box(self, corner: Spot, width: float, height: float, colour: str, fill: str) -> None:
        """Draw a rectangle."""
        where: Look = {"x": corner[0], "y": corner[1], "width": width, "height": height}
        self._add("rect", **where, fill=fill, **_stroke(colour, 0.75))

    def mark(self, at: Spot, shape: Shape, colour: str, size: float = 2.6) -> None:
        """Draw a mark: shapes differ in outline and filling, so that no colour is needed."""
        x, y = at
        if shape == "disc":
            self._add("circle", cx=x, cy=y, r=size, fill=colour)
            return
        half = size if shape == "square" else size * 1.35
        corners = ((-half, -half), (half, -half), (half, half), (-half, half))
        if shape == "diamond":
            corners = ((0.0, -half), (half, 0.0), (0.0, half), (-half, 0.0))
        spots = _spots([(x + dx, y + dy) for dx, dy in corners])
        self._add("polygon", points=spots, fill=PAPER, **_stroke(colour, 1.1))

    def words(
        self,
        at: Spot,
        text: str,
        size: float = 9.0,
        colour: str = INK,
        anchor: Anchor = "start",
        *,
        upward: bool = False,
    ) -> None:
        """Write; ``upward`` turns the text by a quarter to the left."""
        look: Look = {
            "font-family": FONTS,
            "font-size": size,
            "fill": colour,
            "text-anchor": anchor,
        }
        x, y = map(_text, at)
        turned: Look = {"transform": f"rotate(-90 {x} {y})"} if upward else {}
        self._add("text", x=x, y=y, **look, **turned).text = printable(text)

    def svg(self) -> str:
        """Return the sheet as SVG text."""
        return etree.tostring(self.root, encoding="unicode")

    def _add(self, name: str, **attributes: str | float) -> etree._Element:
        child = etree.SubElement(self.root, f"{{{SVG}}}{name}")
        for key, value in attributes.items():
            child.set(key, value if isinstance(value, str) else _text(value))
        return child


def grid(rows: Sequence[Sequence[str]], title: str, description: str, gap: float = 16.0) -> str:
    """Return drawings, as SVG text, on one sheet: row by row, from the left."""
    parts = [[etree.fromstring(each) for each in row] for row in rows]
    sizes = [[_size(each) for each in row] for row in parts]
    width = max(sum(size[0] + gap for size in row) - gap for row in sizes)
    height = sum(max(size[1] for size in row) + gap for row in sizes) - gap
    sheet = Drawing(width, height, title, description)
    y = 0.0
    for row, row_sizes in zip(parts, sizes, strict=True):
        x = 0.0
        for part, (wide, high) in zip(row, row_sizes, strict=True):
            for key, value in {"x": x, "y": y, "width": wide, "height": high}.items():
                part.set(key, _text(value))
            sheet.root.append(part)
            x += wide + gap
        y += max(size[1] for size in row_sizes) + gap
    return sheet.svg()


def _size(drawing: etree._Element) -> tuple[float, float]:
    """Return width and height of a drawing's view box."""
    _, _, width, height = map(float, drawing.get("viewBox", "").split())
    return width, height


def _stroke(colour: str, width: float, dash: str = "") -> Look:
    stroke: Look = {"stroke": colour, "stroke-width": width}
    return {**stroke, "stroke-dasharray": dash} if dash else stroke


def _spots(spots: Iterable[Spot]) -> str:
    return " ".join(f"{_text(x)},{_text(y)}" for x, y in spots)


def _text(value: float) -> str:
    """Return a coordinate to a hundredth of a point, written the same way on every machine."""
    return f"{value:.2f}".rstrip("0").rstrip(".")
