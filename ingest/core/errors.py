"""What can go wrong at the edge, named for what the caller may do about it.

Bad bytes are not an error: decoders drop and count them by reason. Facts are attributes;
nobody matches message texts. ``str(error)`` is one line for a person.
"""

from pathlib import PurePath


class IngestError(Exception):
    """Root of the errors of ``ingest``."""


class ConfigError(IngestError):
    """The configuration or an input file cannot be used. Fatal: exit 2, before any port opens.

    ``value`` is None where the field is missing.
    """

    def __init__(self, where: str, field: str, value: object, allowed: str) -> None:
        shown = str(value) if isinstance(value, PurePath) else repr(value)
        found = "" if value is None else f" = {shown}"
        super().__init__(f"{where}: {field}{found}: {allowed}")
        self.where = where
        self.field = field
        self.value = value
        self.allowed = allowed


class LinkError(IngestError):
    """A link to a head failed. ``retryable`` says whether trying again can help by itself."""

    retryable = True

    def __init__(self, link: str, reason: str) -> None:
        super().__init__(f"{link}: {reason}")
        self.link = link
        self.reason = reason


class LinkNotFound(LinkError):
    """No such port now; it may be plugged in later."""


class LinkBusy(LinkError):
    """Another program holds the port."""


class LinkLost(LinkError):
    """The port was open and went away."""


class LinkSilent(LinkError):
    """The port is open, and nothing valid came for too long."""


class LinkTimeout(LinkError):
    """The port did not do something within its deadline."""


class LinkDenied(LinkError):
    """Permission is missing. Tried again at the slowest pace, since a person must act."""

    retryable = False


class OutputError(IngestError):
    """The broker could not be reached or refused. ``retryable`` as for links."""

    def __init__(self, where: str, reason: str, *, retryable: bool = True) -> None:
        super().__init__(f"{where}: {reason}")
        self.where = where
        self.reason = reason
        self.retryable = retryable


class InputError(IngestError):
    """A file or argument of a plain-file command is unusable: exit 2.

    ``row`` counts file lines, the header being line 1; None where no row is to blame.
    """

    def __init__(self, file: str, row: int | None, reason: str) -> None:
        super().__init__(f"{file}: {reason}" if row is None else f"{file}:{row}: {reason}")
        self.file = file
        self.row = row
        self.reason = reason


class MeasurementRefused(IngestError):
    """The data are readable but carry no trustworthy result: exit 3.

    ``code`` is a short stable word (``condition``, ``u-too-large``, ``slip``, ...); ``figure``
    and ``limit`` are the number that decided and what it was held against, in the unit that
    ``text`` names.
    """

    def __init__(self, code: str, text: str, *, figure: float, limit: float) -> None:
        super().__init__(text)
        self.code = code
        self.text = text
        self.figure = figure
        self.limit = limit
