"""What is wrong with a limit or with what is to be done to a set."""

from ingest.core.errors import IngestError


class LimitsError(IngestError):
    """A limit cannot be, or a set cannot be changed so. ``where`` names the limit or the set."""

    def __init__(self, where: str, reason: str) -> None:
        super().__init__(f"{where}: {reason}")
        self.where = where
        self.reason = reason
