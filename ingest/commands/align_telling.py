"""What a person at the terminal is told of an alignment: a line a task, cautions, and its end."""

import logging
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from rich.console import Console

from ingest.commands.align_ears import Ears
from ingest.commands.align_hands import Hands
from ingest.commands.align_story import Story
from ingest.commands.align_table import decided, found_of, label, left_of, table
from ingest.commands.align_truth import Truth
from ingest.job.course.job import Job

FOREIGN = (r"@font-face \{.*?\}", r"<!--.*?-->", r'<g transform="translate\(26,22\)">.*?</g>')
"""What the library adds to a picture: fonts to be fetched, its own address, window buttons."""


class Telling:
    """Tells on a console, with the rig's time before each task."""

    def __init__(self, console: Console) -> None:
        self.console = console
        self.clock: Callable[[], float] = lambda: 0.0
        self._open = False

    def say(self, text: str, style: str = "") -> None:
        """Say a line of its own."""
        self.close()
        self.console.print(text, style=style, highlight=False, markup=False)

    def begin(self, text: str) -> None:
        """Say what begins; the line stays open."""
        self.close()
        start = f"{self.clock():6.1f} s  {text}: "
        self.console.print(start, end="", highlight=False, markup=False, soft_wrap=True)
        self._open = True

    def end(self, text: str) -> None:
        """End the line with how it went."""
        self.console.print(text, highlight=False, markup=False, soft_wrap=True)
        self._open = False

    def caution(self, text: str) -> None:
        """Say a caution."""
        self.say(f"caution:  {text}", style="bold")

    def close(self) -> None:
        """End a line that is open."""
        if self._open:
            self.console.print()
            self._open = False


class Warnings(logging.Handler):
    """Says what is logged on standard error, on lines of their own."""

    def __init__(self, telling: Telling) -> None:
        super().__init__(logging.WARNING)
        self._telling = telling

    def emit(self, record: logging.LogRecord) -> None:
        """Say one record."""
        self._telling.close()
        print(f"{record.levelname} {record.getMessage()}", file=sys.stderr)


class Told(Protocol):
    """What the ending is told of."""

    @property
    def job(self) -> Job: ...
    @property
    def ears(self) -> Ears: ...
    @property
    def hands(self) -> Hands: ...
    @property
    def story(self) -> Story: ...


def tell_end(telling: Telling, told: Told, found: Truth, left: Truth) -> None:
    """Tell the table, what was decided, and what was turned."""
    job = told.job
    telling.say("")
    telling.console.print(table(job, found, left))
    telling.say(f"as found  {decided(found_of(job))}")
    telling.say(f"as left   {decided(left_of(job))}")
    for axle, sentence in told.hands.cost.turned:
        telling.say(f"axle {axle}: {sentence}")


def tell_cost(telling: Telling, told: Told) -> None:
    """Tell what it took."""
    cost, story = told.hands.cost, told.story
    tried = ", ".join(f"{label(topic)} {n}" for topic, n in story.tries.items()) or "none"
    anew = f", {cost.seated_anew} clamps seated anew" if cost.seated_anew else ""
    telling.say(
        f"{story.tasks} tasks, {cost.mountings} mountings{anew}, {len(cost.turned)} turnings; "
        f"tries: {tried}"
    )
    late = sorted(told.ears.late_ms)
    if late:
        middle, most = late[len(late) // 2], late[int(0.95 * (len(late) - 1))]
        telling.say(
            f"{len(late)} live values, heard {middle:.0f} ms (median) and {most:.0f} ms (95 %) "
            "after their newest sample, the filters' own delay apart"
        )


def save_picture(console: Console, path: Path) -> None:
    """Save what the console has recorded as SVG, in the reader's own fonts."""
    drawn = console.export_svg(title="tools/demo")
    for pattern in FOREIGN:
        drawn = re.sub(pattern, "", drawn, flags=re.DOTALL)
    path.write_text(drawn, encoding="utf-8")
