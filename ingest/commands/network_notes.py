"""What a person should know of a network's answer, a line each."""

from collections.abc import Iterator

from ingest.commands.network_answer import Answer
from ingest.core.units import DEG
from ingest.geometry.network.addable import where
from ingest.geometry.network.advising import Advice
from ingest.geometry.network.pieces import pieces
from ingest.geometry.network.quantities import usual
from ingest.geometry.network.standing import EXPANDED, WIDE_RAD, in_words, told_of
from ingest.geometry.network.stations import Network, Reading
from ingest.payload.network_read import is_blocked

MOST_NAMED = 6


def notes(found: Answer, *, design: bool) -> list[str]:
    """Return the lines, the gravest first."""
    network = found.adjusted.network
    lines = [*_disagreement(found)] if not design else []
    lines += _blocked(network) if design else []
    lines += _apart(network)
    lines += _scale(found)
    lines += unsettled(found)
    lines += _unchecked(found)
    lines += _assumed(network)
    lines += _wide(found)
    if found.sharpening is not None:
        lines.append(_sharper(network, found.sharpening))
    return lines


def _disagreement(found: Answer) -> Iterator[str]:
    judgement, suspect = found.judgement, found.suspect
    readings = found.adjusted.network.readings
    if suspect is not None and judgement.suspect is not None:
        w = judgement.checked[judgement.suspect].standardised or 0.0
        others = ", ".join(f"[{i}]" for i in found.alike)
        either = f"; it or observations {others}: they cannot be told apart" if others else ""
        yield (
            f"distrust observations[{suspect}], {readings[suspect].named()}: its standardised "
            f"residual is {w:.1f}, limit 3.29{either}; read it again, or set use to false"
        )
    elif found.suspect_zero is not None:
        alike = [f"observations[{i}], {readings[i].named()}" for i in found.alike[:MOST_NAMED]]
        either = f", or {', or '.join(alike)}: they cannot be told apart" if alike else ""
        todo = "read or tape that again; look at the clamp, then mount the head again"
        yield (
            f"distrust the {found.suspect_zero}{either}; "
            f"{todo if alike else 'look at its clamp, then mount it again'}"
        )
    if not judgement.fits and judgement.chi2_limits is not None:
        low, high = judgement.chi2_limits
        how = "worse" if judgement.chi2 > high else "better"
        yield (
            f"the readings fit {how} than their sigmas say: chi-square {judgement.chi2:.2f}, "
            f"expected {low:.2f} to {high:.2f} for {judgement.dof} degrees of freedom"
        )


def _blocked(network: Network) -> Iterator[str]:
    for i, reading in enumerate(network.readings):
        if is_blocked(network, reading):
            yield f"observations[{i}], {reading.named()}, is left out: its sightline is blocked"


def _apart(network: Network) -> Iterator[str]:
    first, *others = pieces(network)
    for other in others:
        yield (
            f"the network falls apart: no reading ties {_named(other)} to {_named(first)}; "
            "add a sightline or a tape distance between them"
        )


def _scale(found: Answer) -> Iterator[str]:
    network = found.adjusted.network
    taped = any(not reading.is_angular for reading in network.readings if reading.used)
    fixed = sum(station.fixed for station in network.stations)
    if not taped and fixed < 2:
        yield (
            "no distance is read, so the scale is not determined: lengths are not told, angles "
            "are where the sightlines alone make them; add a tape distance"
        )


def unsettled(found: Answer) -> Iterator[str]:
    """Yield what is not determined, and what would settle it."""
    by_advice: dict[str, list[str]] = {}
    for name, advice in found.settling.items():
        remedy = (
            "nothing that could be read settles it"
            if advice is None
            else f"add {_words(found.adjusted.network, advice)}"
        )
        by_advice.setdefault(remedy, []).append(name)
    for remedy, names in by_advice.items():
        yield f"not determined: {_named(tuple(names))}; {remedy}"
    lacking = [r.quantity.label for r in found.results if r.quantity.form is None]
    if lacking:
        yield f"no stations for: {_named(tuple(lacking))}; they need both wheels and a centre line"


def _unchecked(found: Answer) -> Iterator[str]:
    rows = zip(found.adjusted.rows, found.judgement.checked, strict=False)
    alone = [str(i) for i, each in rows if each.standardised is None]
    if found.judgement.dof == 0:
        yield "nothing checks the readings (0 degrees of freedom): a gross error would not be seen"
    elif alone:
        yield f"no other reading checks observations {_named(tuple(alone))}"
    worst = max(
        zip(found.adjusted.rows, found.judgement.checked, strict=False),
        key=lambda each: each[1].harm or 0.0,
    )
    if worst[1].harm is not None:
        yield (
            "a gross error that just escapes the test would do most harm in "
            f"observations[{worst[0]}]: {worst[1].harm / DEG:.3f}° of {worst[1].harmed}"
        )


def _assumed(network: Network) -> Iterator[str]:
    wheels = list(network.wheels())
    wanted = usual(network)
    if wheels and not any(wheel.zero_sigma_rad for wheel in wheels):
        yield "no zero_sigma_deg is given: the zeros of the heads count as exact, U is too small"
    if network.wanted.centre_line is None and wanted.centre_line is not None:
        ends = " and ".join(str(end) for end in wanted.centre_line)
        yield f"no centre_line is given: it runs through the mid-points of axles {ends}"
    if network.wanted.reference_axle is None and wanted.reference_axle is not None:
        yield f"no reference_axle is given: it is axle {wanted.reference_axle}, the rearmost"


def _wide(found: Answer) -> Iterator[str]:
    """Yield on what the least certain direction of a wheel or an axle stands."""
    angles = [s for s in found.standing if told_of(s.result.quantity) and EXPANDED * s.u > WIDE_RAD]
    if not angles:
        return
    each = max(angles, key=lambda standing: standing.u)
    chained = f", carried over {each.set_ups} set-ups" if each.set_ups > 1 else ""
    better = ""
    if each.advice is not None:
        better = f"; {_words(found.adjusted.network, each.advice)} would make it "
        better += f"{EXPANDED * each.advice.u / DEG:.3f}°"
    yield (
        f"widest is {each.result.quantity.label}, U {EXPANDED * each.u / DEG:.3f}° (k = 2): "
        f"{in_words(each.shares)}{chained}{better}"
    )


def _sharper(network: Network, advice: Advice) -> str:
    return (
        f"what would help most: {_words(network, advice)}; the angles' u would then be "
        f"{advice.u / DEG:.4f}° (root mean square)"
    )


def _words(network: Network, advice: Advice) -> str:
    return " and ".join(_reading(network, reading) for reading in advice.readings)


def _reading(network: Network, reading: Reading) -> str:
    sigma = f"{reading.sigma / DEG:g} deg" if reading.is_angular else f"{reading.sigma * 1e3:g} mm"
    return f"a {reading.named()} (sigma {sigma}){where(network, reading)}"


def _named(names: tuple[str, ...]) -> str:
    shown = ", ".join(names[:MOST_NAMED])
    return shown if len(names) <= MOST_NAMED else f"{shown} and {len(names) - MOST_NAMED} more"
