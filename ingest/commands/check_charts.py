"""How a check lies in the history of its head: control limits, signals, and a drawing of each."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.control import FEWEST, Limits, control_limits, signals, values_until_false_alarm
from calibration.document.charts import control_chart
from calibration.document.plot import Level, Marks
from calibration.verification.shift_check import HeadCheck
from ingest.commands.writing import write_whole
from ingest.core.errors import InputError
from ingest.store.checks import PastCheck

IN_WORDS = {
    "beyond-limits": "beyond its control limits",
    "run-on-one-side": "eight in a row on one side of its centre",
}


@dataclass(frozen=True, slots=True)
class Course:
    """One quantity's checks in their order, deg, and the limits that the first of them set."""

    quantity: str
    values: tuple[float, ...]
    limit_deg: float
    control: Limits | None
    rules: tuple[str, ...]
    """By which rules the newest value is a signal."""


@dataclass(frozen=True, slots=True)
class Chart:
    """All quantities of one head, checked on one bar since its record."""

    head_id: str
    courses: dict[str, Course]

    def said(self, quantity: str) -> str:
        """Return what the course of a quantity adds to its line."""
        course = self.courses[quantity]
        if course.control is None:
            return f" (check {len(course.values)}; control limits from {FEWEST} on)"
        if not course.rules:
            return " (in control)"
        return f" (out of control: {', '.join(IN_WORDS[rule] for rule in course.rules)})"

    def figures(self, quantity: str) -> dict[str, object]:
        """Return the same as figures."""
        course = self.courses[quantity]
        limits = course.control
        return {
            "checks": len(course.values),
            "control_low_deg": None if limits is None else limits.low,
            "control_high_deg": None if limits is None else limits.high,
            "signals": list(course.rules),
            "checks_until_false_alarm": round(values_until_false_alarm(), 1),
        }


def chart_of(history: Sequence[PastCheck], bar: str, check: HeadCheck) -> Chart:
    """Return how a check lies among those of the same bar and record: others had other zeros."""
    own = [c for c in history if c.bar == bar and c.record_id == check.record_id]
    return Chart(
        check.head_id,
        {change.quantity: _course(change.quantity, own) for change in check.changes},
    )


def _course(quantity: str, history: Sequence[PastCheck]) -> Course:
    figures = [c.figures[quantity] for c in history if quantity in c.figures]
    values = tuple(figure.change_deg for figure in figures)
    control = control_limits(values)
    rules: tuple[str, ...] = ()
    if control is not None:
        rules = tuple(s.rule for s in signals(values, control) if s.index == len(values) - 1)
    return Course(quantity, values, figures[-1].limit_deg, control, rules)


def write_chart(folder: Path, chart: Chart) -> None:
    """Draw each quantity into a file of its own. Raises ``InputError``."""
    if not folder.is_dir():
        raise InputError("--charts", None, f"{folder}: no such folder; make it first")
    for course in chart.courses.values():
        name = re.sub(r"[^a-z0-9]+", "-", f"{chart.head_id}-{course.quantity}".lower())
        write_whole(folder / f"{name}.svg", _drawn(chart.head_id, course))


def _drawn(head_id: str, course: Course) -> str:
    levels = [Level("class", course.limit_deg), Level("", -course.limit_deg)]
    control = course.control
    if control is not None:
        levels += [
            Level("centre", control.centre, dashed=False),
            Level("control", control.high),
            Level("", control.low),
        ]
    count = len(course.values)
    marks = Marks("check", tuple(map(float, range(1, count + 1))), course.values, joined=True)
    about = f"{course.quantity} of head {head_id} in {count} checks on the bar"
    return control_chart(marks, levels, "check", "change since the record / deg", about)
