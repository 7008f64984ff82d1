"""What a host sends, as a link of each form takes it."""

from ingest.core.ports import LinkForm
from ingest.wire.commands import ClockPing, Command
from ingest.wire.framing import DELIMITER, frame
from ingest.wire.messages import encode


def outgoing(message: Command | ClockPing, form: LinkForm) -> bytes:
    """Return the bytes that carry a message to a head.

    On a stream a delimiter goes first: it ends whatever noise the line carried.
    """
    body = encode(message)
    return body if form is LinkForm.BODIES else DELIMITER + frame(body)
