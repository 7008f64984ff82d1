"""The end of an alignment: as found and as left beside the truth, what was decided and turned."""

from collections.abc import Iterable, Iterator

from rich import box
from rich.table import Table

from calibration.reporting import on_screen
from ingest.commands.align_truth import Truth
from ingest.job.course.job import Job
from ingest.job.course.readings import Reading
from ingest.report.figures import Line, in_print, lines, printed

DECISIONS = ("outside", "undecided", "inside")


def label(topic: str) -> str:
    """Return a result's short name: ``axle/1/both/total-toe`` is "axle 1 total toe"."""
    return " ".join(word for word in topic.split("/") if word != "both").replace("-", " ")


def table(job: Job, found: Truth, left: Truth) -> Table:
    """Return every result of a job beside the truth, as found and as left."""
    title = "the vehicle as found and as left"
    shown = Table(title=title, title_style="bold", box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    shown.add_column("result")
    for state in ("found", "left"):
        shown.add_column(f"as {state} ± U", justify="right", no_wrap=True)
        shown.add_column("truth", justify="right", no_wrap=True)
    for line in lines(job):
        first = line.found or line.last
        assert first is not None
        shown.add_row(
            label(line.topic),
            "" if line.found is None else printed(line.found).screen(),
            _true(first, found),
            _left(line),
            _true(first, left),
        )
    return shown


def decided(readings: Iterable[Reading]) -> str:
    """Return what was decided of readings: by name what is not inside, the others by number."""
    return "; ".join(_decided(list(readings))) or "nothing has a limit"


def found_of(job: Job) -> list[Reading]:
    """Return what was found."""
    return [line.found for line in lines(job) if line.found is not None]


def left_of(job: Job) -> list[Reading]:
    """Return what is left of all that was measured."""
    last = (job.left_of(line.topic) for line in lines(job))
    return [reading for reading in last if reading is not None]


def _decided(readings: list[Reading]) -> Iterator[str]:
    for decision in DECISIONS:
        names = [label(each.topic) for each in readings if each.decision == decision]
        if names and decision == "inside":
            yield f"{len(names)} inside"
        elif names:
            yield f"{decision}: {', '.join(names)}"


def _left(line: Line) -> str:
    if line.stale:
        return "not read again"
    if line.untouched or line.left is None:
        return "as found"
    return printed(line.left).screen()


def _true(reading: Reading, truth: Truth) -> str:
    if reading.topic not in truth:
        return ""
    times, unit = in_print(reading.angular)
    digits, gap = (3, "") if reading.angular else (1, " ")
    return on_screen(f"{truth[reading.topic] * times:+.{digits}f}{gap}{unit.symbol}")
