"""What a person is told of a live network: what disagrees, what is lacking, what would help."""

from collections.abc import Sequence

from ingest.core.units import DEG
from ingest.geometry.network.advising import Adviser, adviser
from ingest.geometry.network.correlated import Solved, Told
from ingest.geometry.network.judging import CRITICAL_W
from ingest.geometry.network.standing import EXPANDED, in_words, shares
from ingest.geometry.network.stations import Network, Reading

MOST_NAMED = 3
CHANGE = 0.05
"""A reading that lowers a standard uncertainty by less is not worth its trouble."""

ALIKE = 0.05
"""Readings whose standardised residuals differ by less are blamed alike."""


def doubt(solved: Solved) -> str | None:
    """Return a line that names the one reading to look at again; None where there is none.

    Of sound vehicles as a whole some show one such by chance, so that it is no more than a note.
    """
    if solved.suspect is None:
        return None
    named = solved.adjusted.network.readings[solved.suspect].named()
    w = abs(solved.standardised[solved.suspect])
    return (
        f"look at the {named} again: {w:.1f} of its own sigmas off (a sound one is beyond "
        f"{CRITICAL_W:.2f} once in 1000 times); all of them together agree"
    )


def disagreement(solved: Solved) -> str:
    """Return a line that names the reading to distrust."""
    readings = solved.adjusted.network.readings
    figures = f"chi-square {solved.chi2:.1f}, at most {solved.chi2_most:.1f} for {solved.dof}"
    worst = max(solved.standardised, key=lambda i: abs(solved.standardised[i]), default=None)
    if worst is None:
        return f"sightlines and tapes disagree ({figures}); read them anew"
    w, named = abs(solved.standardised[worst]), readings[worst].named()
    alike = sum(w - abs(other) < ALIKE for other in solved.standardised.values()) - 1
    either = f", or one of {alike} that cannot be told from it" if alike else ""
    off = f"{named}, {w:.1f} of its own sigmas off{either}"
    if solved.suspect is None:
        return f"sightlines and tapes disagree ({figures}); farthest off is the {off}"
    return f"distrust the {off} (limit {CRITICAL_W:.2f}; {figures}); read or tape it again"


def lacking(solved: Solved, unknown: Sequence[str], unread: Sequence[int]) -> str:
    """Return a line that names what is not determined, and what would help.

    That are the file's own sightlines, as long as heads have not read them all; then what is to
    be added to the file.
    """
    shown = _named([label.replace("_deg", "").replace("_mm", "") for label in unknown])
    readings = solved.adjusted.network.readings
    if unread:
        pairs = _named([f"{readings[i].line.at} to {readings[i].line.to}" for i in unread])
        return f"not determined yet: {shown}; still to be read: {pairs}"
    first = [told.result for told in solved.told if told.result.quantity.label == unknown[0]]
    advice = advised(solved).settling(first).get(unknown[0])
    if advice is None:
        return f"not determined: {shown}; add sightlines or tapes that tie them to the rest"
    network = solved.adjusted.network
    added = [f"{r.named()}{at_once(network, r)}" for r in advice.readings]
    return f"not determined: {shown}; add {_named(added)}"


def wide(solved: Solved, told: Told) -> str:
    """Return a line that says on what the uncertainty of a result stands, and what would help."""
    measured, label = told.measured, told.result.quantity.label.replace("_deg", "")
    stands = "" if measured is None else in_words(shares(measured))
    line = f"{label.replace('_', ' ')}, U {EXPANDED * told.u / DEG:.2f}° (k = 2): {stands}"
    advice = advised(solved).sharpening([told.result])
    if advice is None or advice.u > (1.0 - CHANGE) * told.u:
        return line
    network = solved.adjusted.network
    better = " and ".join(f"a {r.named()}{at_once(network, r)}" for r in advice.readings)
    return f"{line}; {better} would make it {EXPANDED * advice.u / DEG:.2f}°"


def advised(solved: Solved) -> Adviser:
    """Return the adviser on a live network: a head looks across its axle or along its side."""
    network = solved.adjusted.network

    def usable(reading: Reading) -> bool:
        at, to = network.station(reading.line.at), network.station(reading.line.to)
        if any(end.is_wheel and end.axle is None for end in (at, to)):
            return False  # nobody can look at where a wheel stood before
        seen = at.is_wheel and to.is_wheel and (at.axle == to.axle or at.side is to.side)
        return seen or not reading.is_angular

    return adviser(solved.adjusted, usable)


def at_once(network: Network, reading: Reading) -> str:
    """Return which heads a sightline needs at one time, in words to follow it.

    A live network has no set-ups of its own: heads make them as they are moved.
    """
    ends = [end for end in (reading.line.at, reading.line.to) if network.station(end).is_wheel]
    return f" (with heads on {' and '.join(ends)} at once)" if reading.is_angular else ""


def _named(names: Sequence[str]) -> str:
    shown = ", ".join(names[:MOST_NAMED])
    return shown if len(names) <= MOST_NAMED else f"{shown} and {len(names) - MOST_NAMED} more"
