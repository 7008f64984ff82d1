"""All sets of limits that can be named: stored ones, and those that come with levelhead."""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ingest.commands.headstate import opened
from ingest.core.errors import InputError
from ingest.job.limits.limitset import LimitSet
from ingest.store.limits import StoredLimits
from ingest.store.shipped_limits import shipped, shipped_names


@dataclass(frozen=True, slots=True)
class Shelf:
    """``stored`` is None where there is no database yet."""

    stored: StoredLimits | None

    def names(self) -> tuple[str, ...]:
        """Return every name, those that come with levelhead first."""
        return (*shipped_names(), *self.own())

    def own(self) -> tuple[str, ...]:
        """Return the names that are stored."""
        return () if self.stored is None else self.stored.names()

    def find(self, text: str) -> LimitSet:
        """Return the set of ``name`` or ``name@version``. Raises ``InputError``."""
        name, at, number = text.partition("@")
        if at and not (number.isascii() and number.isdigit() and len(number) < 9):
            raise InputError(text[:60], None, "a version is a number, such as mine@3")
        history = self.history(name)
        if not at:
            return history[-1]
        found = next((each for each in history if each.number == int(number)), None)
        if found is None:
            known = ", ".join(str(each.number) for each in history)
            raise InputError(text[:60], None, f"there is no such version; there are {known}")
        return found

    def own_history(self, name: str) -> tuple[LimitSet, ...]:
        """Return the stored versions of a name, oldest first, none where it is new."""
        return () if self.stored is None else self.stored.history(name)

    def history(self, name: str) -> tuple[LimitSet, ...]:
        """Return every version of a name, oldest first. Raises ``InputError`` for none."""
        found = shipped(name)
        history = self.own_history(name) if found is None else (found,)
        if not history:
            known = ", ".join(self.names())
            raise InputError(name[:60], None, f"no set of limits has this name; there are {known}")
        return history

    def base(self, name: str) -> LimitSet:
        """Return the newest version of a set that is to be changed. Raises ``InputError``."""
        if name in shipped_names():
            reason = "comes with levelhead and never changes; save it under a name of your own"
            raise InputError(name, None, f"{reason} first: levelhead limits save-as {name} NAME")
        if "@" in name:
            reason = "the newest version is what is changed; undo --to goes back to an older one"
            raise InputError(name[:60], None, reason)
        return self.find(name)


@contextlib.contextmanager
def read_shelf(state: Path) -> Iterator[Shelf]:
    """Open what is there; without a database only what comes with levelhead."""
    if not state.exists():
        yield Shelf(None)
        return
    with opened(state) as connection:
        yield Shelf(StoredLimits(connection))


def keep(state: Path, limits: LimitSet, *, new: bool = False) -> None:
    """Store a version, in a database that is made where there is none.

    Raises ``InputError`` where its name is one of levelhead's own or, of a ``new`` set, taken.
    """
    if limits.name in shipped_names():
        reason = "is the name of a set that comes with levelhead; choose another"
        raise InputError(limits.name, None, reason)
    with opened(state, make=True) as connection:
        stored = StoredLimits(connection)
        if new and limits.name in stored.names():
            raise InputError(limits.name, None, "there is a set of this name; choose another")
        stored.add(limits)
