"""A result as a job keeps it: unrounded, with its limit, its decision and what it stands on."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class LimitAt:
    """The limit that a result was held against, in rad or m, and where it is from.

    ``entered`` is the limit as a person wrote it, with its unit.
    """

    low: float | None
    nominal: float | None
    high: float | None
    entered: str
    source: str


@dataclass(frozen=True, slots=True)
class Reading:
    """One result.

    ``topic`` lies below the bay (``axle/1/left/camber``). ``value`` and ``u`` (standard
    uncertainty) are in rad, in m where not ``angular``; ``U`` is the expanded uncertainty and ``k``
    its factor. ``quality`` and ``why`` are those that it was published with. ``heads`` pairs
    names with calibration records ("" where a head had none). ``decision`` is inside, undecided,
    outside, or none where there is no limit.
    """

    topic: str
    angular: bool
    value: float
    u: float
    U: float
    k: float
    at: str
    quality: str
    why: str
    heads: tuple[tuple[str, str], ...]
    stands_on: tuple[str, ...]
    limit: LimitAt | None = None
    rule: str = ""
    decision: str = "none"
    p_conform: float | None = None


@dataclass(frozen=True, slots=True)
class RunoutTaken:
    """What a turn of one wheel found: the run-out of rim, clamp and shaft together, degrees.

    ``how`` says by what it was found (three stops, a roll, a push); ``u_deg`` is a standard
    uncertainty.
    """

    axle: int
    side: str
    head: str
    record: str
    runout_deg: float
    u_deg: float | None
    how: str
