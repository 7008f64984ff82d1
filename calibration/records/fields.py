"""The kinds of values that a record's fields hold. Whatever is printed is decimal text.

Figures are kept as they are printed, since 0.40 as a number comes back as 0.4 and the zero that
says how well it is known is lost.
"""

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

DECIMAL = r"^-?(0|[1-9][0-9]{0,11})(\.[0-9]{1,15})?$"
ONE_LINE = r"^[^\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]*$"
"""No control characters, no line breaks, nothing that turns the reading direction: what a
person reads on paper or in a terminal is what was signed."""


def _signed_zero(text: str) -> str:
    if text.startswith("-") and not text.strip("-0."):
        raise ValueError("a zero has no sign")
    return text


def _above_zero(text: str) -> str:
    if not text.strip("0."):
        raise ValueError("must be above zero")
    return text


Decimal = Annotated[str, Field(pattern=DECIMAL), AfterValidator(_signed_zero)]
"""``-0.40``: a point, no exponent, no plus, no group marks, no signed zero."""
NotNegative = Annotated[str, Field(pattern=DECIMAL.replace("-?", ""))]
Positive = Annotated[NotNegative, AfterValidator(_above_zero)]
Probability = Annotated[str, Field(pattern=r"^(0(\.[0-9]{1,15})?|1(\.0{1,15})?)$")]

Line = Annotated[str, Field(max_length=300, pattern=ONE_LINE)]
"""One line of text; empty where it is not known yet."""
Word = Annotated[str, Field(min_length=1, max_length=80, pattern=ONE_LINE)]
"""A name: never empty."""
Paragraph = Annotated[str, Field(max_length=2000, pattern=ONE_LINE)]
Unit = Literal["deg", "mm", "mm/m", "[in_i]", "Cel", "s", "%", "1"]
"""UCUM codes, the closed list of ``calibration.units``."""
Count = Annotated[int, Field(ge=1, le=2**53 - 1)]
Whole = Annotated[int, Field(ge=0, le=2**53 - 1)]

Moment = Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z$")]
"""RFC 3339 in UTC, whole seconds: two of them compare as text."""

RecordId = Annotated[str, Field(pattern=r"^cal-[0-9]{4}-[0-9]{4,12}$")]
HeadId = Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
"""Eight bytes in hex, as the head itself says them."""
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
MaybeSha256 = Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")]

Direction = Literal["up", "down"]
FigureName = Literal["max-error", "repeatability", "hysteresis", "linearity", "cross-axis", "zero"]
Conformity = Literal["pass", "conditional-pass", "conditional-fail", "fail", "none"]
