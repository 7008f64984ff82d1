"""A set of limits: one version of it, which never changes."""

import datetime
import re
from dataclasses import dataclass

from calibration.decision import Rule
from ingest.job.limits.faults import LimitsError
from ingest.job.limits.limit import Key, Limit, check_words

NAME = re.compile(r"[a-z0-9][a-z0-9_-]{0,31}")
MOST_LIMITS = 500
MOST_VERSIONS = 1_000_000


@dataclass(frozen=True, slots=True)
class Version:
    """A set by its name and its number; versions of a name count from 1."""

    name: str
    number: int

    def __post_init__(self) -> None:
        if not NAME.fullmatch(self.name):
            reason = "cannot name a set; use 1 to 32 of a-z, 0-9, _ and -, a letter or digit first"
            raise LimitsError("name", f"{self.name[:40]!r} {reason}")
        if not 1 <= self.number <= MOST_VERSIONS:
            reason = f"versions count from 1, to {MOST_VERSIONS}"
            raise LimitsError(self.name, f"version {self.number}: {reason}")

    def __str__(self) -> str:
        return f"{self.name} version {self.number}"


@dataclass(frozen=True, slots=True)
class LimitSet:
    """One version of a set. Raises ``LimitsError`` where it cannot be one.

    ``author`` and ``date`` are of this version, ``note`` is of the set; ``change`` says what this
    version did to its ``predecessor``, and ``restores`` which version an undo brought back.
    """

    version: Version
    author: str
    date: datetime.date
    note: str = ""
    rule: Rule = Rule.GUARD_U
    limits: tuple[Limit, ...] = ()
    predecessor: Version | None = None
    change: str = ""
    restores: int | None = None

    def __post_init__(self) -> None:
        try:
            check_words("author", self.author)
            check_words("note", self.note, needed=False)
            check_words("change", self.change, needed=False)
        except ValueError as error:
            raise LimitsError(self.name, str(error)) from error
        if len(self.limits) > MOST_LIMITS:
            raise LimitsError(
                self.name, f"{len(self.limits)} limits; at most {MOST_LIMITS} are kept"
            )
        seen: set[Key] = set()
        for limit in self.limits:
            if limit.key in seen:
                reason = "has two figures in this set; keep one of them"
                raise LimitsError(self.name, f"{limit.key} {reason}")
            seen.add(limit.key)
        if self.restores is not None and not 1 <= self.restores < self.number:
            raise LimitsError(self.name, f"version {self.number} cannot restore {self.restores}")

    @property
    def name(self) -> str:
        """Its name."""
        return self.version.name

    @property
    def number(self) -> int:
        """The number of this version."""
        return self.version.number

    def find(self, key: Key) -> Limit | None:
        """Return the limit of exactly this key."""
        return next((limit for limit in self.limits if limit.key == key), None)
