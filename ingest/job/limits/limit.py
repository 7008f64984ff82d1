"""One limit: what a quantity of an axle should be, kept as it was entered.

Numbers stay the text that somebody typed, in the unit that it was typed in, so that 1/16 in across
22.5 in comes back as that and as nothing else; they become radians or metres where they are used.
"""

import datetime
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from ingest.core.frames import Side
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.quantities import Of, Quantity
from ingest.job.limits.units import EnteredUnit, Scale, common, common_unit, scale_of
from ingest.job.vehicle.axles import Role

EVERY, VEHICLE = "every", "vehicle"
ROLES = tuple(role.value for role in Role)
MOST_AXLES = 20
LONGEST = 300
"""Characters of a source or a note."""


class Load(StrEnum):
    """The load state that a figure holds for, or that a vehicle is in."""

    ANY = "any"
    LADEN = "laden"
    UNLADEN = "unladen"


@dataclass(frozen=True, slots=True)
class Key:
    """What a limit is of. No two limits of a set have the same.

    ``axle``: its number from the front, a role, ``every``, or ``vehicle``. ``side`` None holds for
    both.
    """

    axle: int | str
    quantity: Quantity
    side: Side | None = None
    load: Load = Load.ANY

    def __str__(self) -> str:
        axle = "vehicle" if self.axle == VEHICLE else f"axle {self.axle}"
        words = [axle, self.quantity.kind.words]
        words += [] if self.side is None else [self.side.value]
        words += [] if self.load is Load.ANY else [self.load.value]
        return " ".join(words)


@dataclass(frozen=True, slots=True)
class Figures:
    """Numbers as they were entered; at least one of the three is there.

    ``across``: what a length of an angle is measured across, such as ``22.5 in``.
    """

    unit: EnteredUnit
    low: str | None = None
    nominal: str | None = None
    high: str | None = None
    across: str | None = None

    def number(self, text: str | None) -> Fraction | None:
        """Return what a text says in the unit. Raises ``ValueError``."""
        return None if text is None else self.unit.number(text)

    def __str__(self) -> str:
        def told(text: str) -> str:
            return f"{text.strip()}{self.unit.symbol}"

        parts = []
        if self.nominal is not None:
            parts.append(f"nominal {told(self.nominal)}")
        if self.low is not None and self.high is not None:
            parts.append(f"{told(self.low)} to {told(self.high)}")
        elif self.low is not None:
            parts.append(f"from {told(self.low)} up")
        elif self.high is not None:
            parts.append(f"up to {told(self.high)}")
        across = "" if self.across is None else f" across {self.across.strip()}"
        return ", ".join(parts) + across


@dataclass(frozen=True, slots=True)
class Origin:
    """Where figures are from, when and by whom they were entered."""

    source: str
    date: datetime.date
    author: str


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit. Raises ``LimitsError`` where it cannot be one."""

    key: Key
    figures: Figures
    origin: Origin

    def __post_init__(self) -> None:
        try:
            _check_axle(self.key.axle)
        except ValueError as error:
            raise LimitsError(self.key.quantity.kind.words, str(error)) from error
        try:
            _check_key(self.key)
            _check_words(self.origin)
            scale = scale_of(self.key.quantity, self.figures.unit, self.figures.across)
            _check_figures(self.key.quantity, self.figures, scale)
        except ValueError as error:
            raise LimitsError(str(self.key), str(error)) from error

    @property
    def scale(self) -> Scale:
        """What turns its numbers into rad or m."""
        return scale_of(self.key.quantity, self.figures.unit, self.figures.across)

    @property
    def decides(self) -> bool:
        """Whether a value can be held against it; a nominal alone decides nothing."""
        return self.figures.low is not None or self.figures.high is not None

    def si(self, text: str | None) -> float | None:
        """Return one of its numbers in rad or m."""
        number = self.figures.number(text)
        return None if number is None else self.scale.si(float(number))

    @property
    def low(self) -> float | None:
        """Lower limit, rad or m."""
        return self.si(self.figures.low)

    @property
    def nominal(self) -> float | None:
        """Nominal, rad or m."""
        return self.si(self.figures.nominal)

    @property
    def high(self) -> float | None:
        """Upper limit, rad or m."""
        return self.si(self.figures.high)


def axle_of(text: str) -> int | str:
    """Return the axle that a text names: a number, or a word, which a ``Limit`` checks."""
    word = text.strip()
    return int(word) if word.isascii() and word.isdigit() and len(word) < 4 else word


def _check_axle(axle: int | str) -> None:
    words = (*ROLES, EVERY, VEHICLE)
    known = 1 <= axle <= MOST_AXLES if isinstance(axle, int) else axle in words
    if not known:
        allowed = f"a number from 1 to {MOST_AXLES}, or one of {', '.join(words)}"
        raise ValueError(f"{str(axle)[:24]!r} is no axle; give {allowed}")


def _check_key(key: Key) -> None:
    kind = key.quantity.kind
    if (kind.of is Of.VEHICLE) != (key.axle == VEHICLE):
        whole = f"is of the whole vehicle; give {VEHICLE} for its axle"
        one = "is of an axle; give its number, its role or every"
        raise ValueError(f"{key.quantity} {whole if kind.of is Of.VEHICLE else one}")
    if key.side is not None and not kind.has_sides:
        raise ValueError(f"{key.quantity} has no sides; leave side out")


def _check_words(origin: Origin) -> None:
    for name, text in (("source", origin.source), ("author", origin.author)):
        check_words(name, text)


def check_words(name: str, text: str, *, needed: bool = True) -> None:
    """See to it that a text is one line that says something. Raises ``ValueError``."""
    if needed and not text.strip():
        raise ValueError(f"{name} is empty; say who or what it is")
    if len(text) > LONGEST or not text.isprintable():
        raise ValueError(f"{name} must be one line of at most {LONGEST} characters")


def _check_figures(quantity: Quantity, figures: Figures, scale: Scale) -> None:
    found: dict[str, Fraction] = {}
    for name in ("low", "nominal", "high"):
        text = getattr(figures, name)
        if text is None:
            continue
        check_words(name, text)
        try:
            found[name] = figures.unit.number(text)
            size = abs(common(quantity, scale.si(float(found[name]))))
        except ValueError as error:
            raise ValueError(f"{name}: {error}") from error
        if not size <= quantity.kind.most:
            most = f"no {quantity.kind.words} is beyond {quantity.kind.most:g}"
            told = f"{name} {text} {figures.unit} is {size:.4g} {common_unit(quantity)}"
            raise ValueError(f"{told}, and {most}; is the unit right?")
    if not found:
        raise ValueError("no figure is given; give low, nominal or high")
    _check_order(figures, found)


def _check_order(figures: Figures, found: dict[str, Fraction]) -> None:
    low, nominal, high = (found.get(name) for name in ("low", "nominal", "high"))
    if low is not None and high is not None and low > high:
        raise ValueError(f"low {figures.low} is above high {figures.high}; swap them")
    if low is not None and low == high:
        reason = "leave no room, and nothing measured could be inside; give nominal alone"
        raise ValueError(f"low and high {figures.low} {reason}")
    if nominal is not None and low is not None and nominal < low:
        raise ValueError(f"nominal {figures.nominal} is below low {figures.low}")
    if nominal is not None and high is not None and nominal > high:
        raise ValueError(f"nominal {figures.nominal} is above high {figures.high}")
