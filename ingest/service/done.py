"""What becomes of a request."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Done:
    """How a request went: a reply code, and one line for a person."""

    ok: bool
    code: str
    text: str
