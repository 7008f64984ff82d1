"""The figures that sum up the results in force: in short for the first page, and all of them."""

from collections.abc import Iterator

from calibration.document.blocks import Block, Paragraph, Table
from calibration.document.certificate import wording
from calibration.document.certificate.parts import columns, limits
from calibration.document.plain import count, expanded, factor
from calibration.records.results import Figure, Run, Verdict


def summary(run: Run | None) -> Iterator[Block]:
    """Yield one line for each channel: what it errs by at most, where, and what was decided."""
    if run is None or not run.figures:
        return
    rows = tuple(_largest(run, f) for f in run.figures if f.name == "max-error")
    titles = ("Channel", "Largest error", "k", "Found at", "Limits", "Passed")
    shares = {"Channel": 5, "Found at": 4}
    if rows:
        yield Table("Largest errors of the results in force", columns(titles, shares, {"k"}), rows)


def _largest(run: Run, figure: Figure) -> tuple[str, ...]:
    mine = [v for v in run.verdicts if v.channel == figure.channel and v.decision != "none"]
    held = next((v for v in mine if v.name == figure.name), None)
    passed = sum(v.decision == "pass" for v in mine)
    return (
        wording.channel_name(figure.channel),
        expanded(figure.value, figure.U, figure.unit),
        "–" if figure.k is None else factor(figure.k),
        wording.found_at(figure) or "–",
        "–" if held is None else limits(held),
        f"{passed} of {count(len(mine), 'figure')}" if mine else "–",
    )


def figures(run: Run | None) -> Iterator[Block]:
    """Yield all figures of the results in force, and what their U means."""
    if run is None or not run.figures:
        return
    judged = {(verdict.channel, verdict.name): verdict for verdict in run.verdicts}
    rows = tuple(_figure(f, judged.get((f.channel, f.name))) for f in run.figures)
    titles = ("Channel", "Figure", "Found at", "Result", "k", "Limits", "Decision")
    shares = {"Channel": 2, "Found at": 4}
    yield Table("Figures of the results in force", columns(titles, shares, {"k"}), rows)
    yield Paragraph(wording.UNCERTAINTY, "small")


def _figure(figure: Figure, verdict: Verdict | None) -> tuple[str, ...]:
    return (
        figure.channel,
        wording.FIGURES[figure.name],
        wording.found_at(figure) or "–",
        expanded(figure.value, figure.U, figure.unit),
        "–" if figure.k is None else factor(figure.k),
        "–" if verdict is None else limits(verdict),
        "–" if verdict is None else wording.DECISIONS[verdict.decision],
    )
