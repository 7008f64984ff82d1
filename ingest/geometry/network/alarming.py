"""When a live network calls its readings contradictory: seldom enough to be listened to.

The plain command tests at 5 %, two-sided (``judging``). A live bay adjusts with every settled set
of readings; at that level one sound vehicle in forty would be called contradictory. Here two tests
share a chance of 0.1 % between them: chi-square of the whole, and the largest standardised
residual, whose limit grows with the number of readings that are tested (Bonferroni). A single
residual beyond 3.29 is still named, as a note: nothing that the plain command would name is hidden.
"""

from collections.abc import Collection

from scipy import special

FALSE_ALARM = 1e-3
"""An adjustment of sound readings is called contradictory in so many cases at the most."""

_EACH = FALSE_ALARM / 2.0


def chi2_most(dof: int) -> float | None:
    """Return the largest chi-square that passes, None without degrees of freedom."""
    return float(special.chdtri(dof, _EACH)) if dof else None


def w_most(tested: int) -> float:
    """Return the largest size that passes of any of so many standardised residuals."""
    return float(-special.ndtri(_EACH / (2.0 * max(tested, 1))))


def contradictory(dof: int, chi2: float, standardised: Collection[float]) -> bool:
    """Say whether an adjustment is to be called so."""
    most = chi2_most(dof)
    worst = max(map(abs, standardised), default=0.0)
    return (most is not None and chi2 > most) or worst > w_most(len(standardised))
