"""A reading that cannot be, as it is told before any fit is tried on it.

What is gross only against the others' scatter is told after the fit (``fits.outlying``).
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Impossible:
    """One such reading; ``figure`` is held against ``limit``, in the unit of ``text``."""

    text: str
    figure: float
    limit: float
