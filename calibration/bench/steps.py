"""The steps of a calibration: series, recordings and acts, each with its place."""

import math
from dataclasses import dataclass

from calibration.bench.capture import Refused
from calibration.bench.procedure import Procedure, Row
from calibration.bench.recording import Recording


@dataclass(frozen=True, slots=True)
class Series:
    """A step that is a guided series of readings."""

    procedure: Procedure


@dataclass(frozen=True, slots=True)
class Act:
    """A step that the program does. ``confirm`` has to be typed first, where it is not ""."""

    title: str
    do: tuple[str, ...]
    why: str
    confirm: str = ""
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Step:
    """One step; ``folder`` is "" or the letter of the head whose files it writes."""

    name: str
    work: Series | Recording | Act
    folder: str = ""

    @property
    def path(self) -> str:
        """The file of the step within the folder of the work, "" for an act."""
        if isinstance(self.work, Act):
            return ""
        file = self.work.file if isinstance(self.work, Recording) else self.work.procedure.file
        return f"{self.folder}/{file}" if self.folder else file

    def owns(self, row: Row) -> bool:
        """Say whether a row of the step's file is of this step."""
        return not isinstance(self.work, Series) or self.work.procedure.owns(row)

    @property
    def title(self) -> str:
        """What the step is called on the screen."""
        title = self.work.procedure.title if isinstance(self.work, Series) else self.work.title
        return f"{title}, head {self.folder}" if self.folder else title

    @property
    def heads(self) -> tuple[str, ...]:
        """The letters of the heads that the step reads."""
        if isinstance(self.work, Act):
            return ()
        own = self.work.procedure.heads if isinstance(self.work, Series) else self.work.heads
        return (self.folder,) if self.folder and len(own) == 1 else own


def told_refusal(head: str, refused: Refused) -> str:
    """Say why a reading was not taken."""
    verdict = refused.verdict
    if not verdict.channel:
        return f"Not taken: head {head} fell silent while it was read. Take it again."
    if math.isnan(verdict.figure_rad):
        return (
            f"Not taken: head {head} has no value in {verdict.channel}. See to it, take it again."
        )
    figure, limit = (math.degrees(x) for x in (verdict.figure_rad, verdict.limit_rad))
    return (
        f"Not taken: head {head} moved while it was read: {verdict.channel} by {figure:.4f}°, "
        f"limit {limit:.4f}°. Let it stand and take it again."
    )
