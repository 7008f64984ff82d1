"""Options of ``levelhead limits`` as values, each refused in one line."""

import argparse
from enum import StrEnum
from typing import TypeVar

from calibration.decision import Rule
from ingest.commands.level import day_of
from ingest.core.errors import InputError
from ingest.core.frames import Side
from ingest.job.limits.changes import By, Change
from ingest.job.limits.limit import Load
from ingest.job.limits.quantities import Quantity
from ingest.job.limits.units import EnteredUnit

Word = TypeVar("Word", bound=StrEnum)
DROPPED = "none"


def word(option: str, text: str, kind: type[Word]) -> Word:
    """Return one of a few words. Raises ``InputError`` that lists them."""
    try:
        return kind(text)
    except ValueError:
        reason = f"{text[:24]!r} is not known; choose one of {', '.join(kind)}"
        raise InputError(option, None, reason) from None


def quantity_of(args: argparse.Namespace) -> Quantity:
    """Return the quantity that is meant."""
    return word("QUANTITY", args.quantity, Quantity)


def side_of(args: argparse.Namespace) -> Side | None:
    """Return the side, None for both."""
    return None if args.side is None else word("--side", args.side, Side)


def load_of(args: argparse.Namespace) -> Load:
    """Return the load state, ``any`` where none is named."""
    return Load.ANY if args.load is None else word("--load", args.load, Load)


def rule_of(args: argparse.Namespace) -> Rule:
    """Return the rule, the usual one where none is named."""
    return Rule.GUARD_U if args.rule is None else word("RULE", args.rule, Rule)


def by_of(args: argparse.Namespace) -> By:
    """Return who makes a version, and on which day."""
    return By(args.author, day_of("--on", args.on))


def change_of(args: argparse.Namespace) -> Change:
    """Return what is to be entered. Raises ``InputError`` where nothing is."""
    given: dict[str, object] = {
        name: None if getattr(args, name) == DROPPED else getattr(args, name)
        for name in ("low", "nominal", "high", "across")
        if getattr(args, name) is not None
    }
    if args.unit is not None:
        given["unit"] = word("--unit", args.unit, EnteredUnit)
    if not given:
        reason = "nothing is given to change; give --low, --nominal or --high, or --remove"
        raise InputError("set", None, reason)
    if args.source is None:
        raise InputError(
            "--source", None, "say where the figures are from; without it none is kept"
        )
    return Change(given, args.source)
