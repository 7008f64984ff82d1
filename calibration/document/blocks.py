"""What a document says, free of how it looks: one tree for the page and for the paper.

Every text is plain text. A line feed in one is a line break; other control characters are
shown as a replacement sign. Nothing in a text is ever read as markup.
"""

from dataclasses import dataclass
from datetime import date
from typing import Literal

Align = Literal["left", "right", "centre"]
Role = Literal["body", "lead", "small", "mono"]
Tone = Literal["plain", "attention"]


@dataclass(frozen=True, slots=True)
class Heading:
    """A section's title; level 1 begins a part, level 2 a section within it."""

    text: str
    level: Literal[1, 2] = 1


@dataclass(frozen=True, slots=True)
class Paragraph:
    """A paragraph. ``lead`` stands out, ``small`` steps back, ``mono`` is for hashes."""

    text: str
    role: Role = "body"


@dataclass(frozen=True, slots=True)
class Points:
    """A list of short texts, none of them before the other."""

    items: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Labels with their values, one beneath the other."""

    items: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table. ``width`` is its share of what the narrow columns leave, 0: narrow."""

    title: str
    align: Align = "left"
    width: int = 0


@dataclass(frozen=True, slots=True)
class Table:
    """A table; its header is repeated on every page. The ``total`` rows come last, set apart."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    total: tuple[tuple[str, ...], ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        for row in (*self.rows, *self.total):
            if len(row) != len(self.columns):
                raise ValueError(f"a row of {len(row)} cells under {len(self.columns)} columns")


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawing (SVG text of our own making) and what it shows, for those who do not see it."""

    svg: str
    caption: str
    description: str


@dataclass(frozen=True, slots=True)
class Notice:
    """Something that must not be overlooked: framed, with a title of its own."""

    title: str
    text: str
    tone: Tone = "plain"


@dataclass(frozen=True, slots=True)
class Outcome:
    """The result in a few words, large. ``held`` says whether it is a good one, None: open."""

    word: str
    text: str
    held: bool | None


@dataclass(frozen=True, slots=True)
class People:
    """Who answers for it: pairs of a role and a name, with a line to sign on."""

    items: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Columns:
    """Blocks side by side, each column as wide as the other."""

    cells: tuple[tuple["Block", ...], ...]


@dataclass(frozen=True, slots=True)
class Spring:
    """Takes what is left of the page, so that what follows stands at its foot."""


@dataclass(frozen=True, slots=True)
class NewPage:
    """What follows begins on a page of its own."""


@dataclass(frozen=True, slots=True)
class EndMark:
    """Where the document ends, so that a missing last page is noticed."""

    text: str


Block = (
    Heading
    | Paragraph
    | Points
    | Facts
    | Table
    | Chart
    | Notice
    | Outcome
    | People
    | Columns
    | Spring
    | NewPage
    | EndMark
)


@dataclass(frozen=True, slots=True)
class Document:
    """A document. ``number`` and the page's own number stand on every page.

    ``issuer``: name and address lines of who answers for it, the name first. ``mark`` is
    written across every page. ``dated`` is the only date in the file itself.
    """

    title: str
    number: str
    subtitle: str
    issuer: tuple[str, ...]
    dated: date
    blocks: tuple[Block, ...]
    mark: str = ""
    language: str = "en"
