"""What a technician makes of a sentence of advice: words in, an act of the hands out.

Nothing but the published sentence is used, so that its words are tested along with its figures.
"""

import re
from dataclasses import dataclass
from typing import Literal

from ingest.core.frames import Side
from ingest.core.units import DEG

SIDE = r"(?P<side>left|right)"
AMOUNT = r"(?:(?P<turns>\d+) turns?(?: and )?)?(?:(?P<deg>[\d.]+) degrees)?"
SEEN = r"(?: (?P<way>clockwise|counter-clockwise), seen from (?P<seen>[a-z' ]+?))?"

THREAD = re.compile(
    rf"(?P<verb>lengthen|shorten|screw out|screw in) the (?:{SIDE} )?(?P<part>[a-z -]+?)"
    rf" by [\d.]+ mm: turn it {AMOUNT}{SEEN}(?: the way that (?P<does>lengthens|shortens) it)?\."
)
STOP = re.compile(rf"stop bolt for {SIDE} lock")
ECCENTRIC = re.compile(
    rf"turn the {SIDE} eccentric by {AMOUNT}{SEEN}: its end of the axle goes"
    r" (?P<goes>forward|rearward) by [\d.]+ mm\."
)
PACK = re.compile(
    rf"(?:{SIDE} )?(?P<part>shim pack(?: of the lateral rod)?): .*in the end it holds"
    r" (?P<holds>no shim|[\d.]+ mm(?: \+ [\d.]+ mm)*)(?:, and .*)?\."
)
PIN = re.compile(rf'fit the {SIDE} bar pin at "(?P<position>[^"]+)" instead of .*')
WEDGE = re.compile(
    rf"{SIDE} spring pad: (?=take|fit)"
    r"(?:take out the wedge of [\d.]+ degrees, thick end to the \w+)?"
    r"(?:; )?(?:fit one wedge of (?P<deg>[\d.]+) degrees, thick end to the (?P<end>rear|front)"
    r"(?: \([^)]*\))?)?\."
)
NOTHING = re.compile(r"leave the .*\.|camber of a beam axle cannot be adjusted: turn nothing\. .*")


class Unreadable(Exception):
    """A sentence that nobody could act on."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A turning, and from where it is seen."""

    clockwise: bool
    seen_from: str


@dataclass(frozen=True, slots=True)
class Turn:
    """Turn a threaded part so far; ``seen`` None where only the verb says which way."""

    part: str
    side: Side | None
    turns: float
    longer: bool
    seen: Seen | None


@dataclass(frozen=True, slots=True)
class Swing:
    """Turn an eccentric so far; ``seen`` None where only the effect says which way."""

    side: Side
    angle_rad: float
    forward: bool
    seen: Seen | None


@dataclass(frozen=True, slots=True)
class Fit:
    """Make a pack of these shims."""

    part: str
    side: Side | None
    sizes_m: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class SetPin:
    """Fit a bar pin in a position."""

    side: Side
    position: str


@dataclass(frozen=True, slots=True)
class FitWedge:
    """Fit a wedge, thick end to the rear positive; 0 for none."""

    side: Side
    wedge_rad: float


Act = Turn | Swing | Fit | SetPin | FitWedge | Literal["nothing"]


def read(sentence: str) -> Act:
    """Return what a sentence asks for. Raises ``Unreadable``."""
    said = sentence[:1].lower() + sentence[1:]
    if NOTHING.fullmatch(said):
        return "nothing"
    for form, act in (
        (THREAD, _turn),
        (ECCENTRIC, _swing),
        (PACK, _fit),
        (PIN, _pin),
        (WEDGE, _wedge),
    ):
        found = form.fullmatch(said)
        if found is not None:
            return act(found)
    raise Unreadable(sentence)


def _turn(found: re.Match[str]) -> Turn:
    part, side = found["part"], _side(found)
    stop = STOP.fullmatch(part)
    if stop is not None:
        part, side = "stop bolt", Side(stop["side"])
    longer = found["verb"] in ("lengthen", "screw out")
    if found["does"] is not None and (found["does"] == "lengthens") != longer:
        raise Unreadable(found.string)
    return Turn(part, side, _degrees(found) / 360.0, longer, _seen(found))


def _swing(found: re.Match[str]) -> Swing:
    forward = found["goes"] == "forward"
    return Swing(Side(found["side"]), _degrees(found) * DEG, forward, _seen(found))


def _fit(found: re.Match[str]) -> Fit:
    sizes = re.findall(r"([\d.]+) mm", found["holds"])
    return Fit(found["part"], _side(found), tuple(float(size) * 1e-3 for size in sizes))


def _pin(found: re.Match[str]) -> SetPin:
    return SetPin(Side(found["side"]), found["position"])


def _wedge(found: re.Match[str]) -> FitWedge:
    sign = -1.0 if found["end"] == "front" else 1.0
    return FitWedge(Side(found["side"]), sign * float(found["deg"] or 0.0) * DEG)


def _side(found: re.Match[str]) -> Side | None:
    return None if found["side"] is None else Side(found["side"])


def _degrees(found: re.Match[str]) -> float:
    if found["turns"] is None and found["deg"] is None:
        raise Unreadable(found.string)
    return 360.0 * float(found["turns"] or 0.0) + float(found["deg"] or 0.0)


def _seen(found: re.Match[str]) -> Seen | None:
    if found["way"] is None:
        return None
    return Seen(found["way"] == "clockwise", found["seen"])
