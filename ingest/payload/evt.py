"""Things that happened once. Never retained: who was not there has missed it."""

from pydantic import Field

from ingest.payload.base import Code, Count, Id, Level, Number, Stamped


class Event(Stamped):
    """``evt/{kind}``."""

    boot: Id
    seq: Count
    kind: Code
    head: Level | None = None
    text: str = Field(max_length=200)
    figure: Number | None = None
