"""A reading that cannot be, as it is told before any fit is tried on it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Gross:
    """One such reading; ``figure`` is held against ``limit``, in the unit of ``text``."""

    text: str
    figure: float
    limit: float
