"""The object that the service owns per head: bytes in, messages and runs of samples out."""

from ingest.core.counters import LinkCounters
from ingest.core.ids import MonotonicNs
from ingest.core.ports import LinkForm
from ingest.wire.assembly import Assembler, Received
from ingest.wire.framing import Deframer
from ingest.wire.hello import Hello


class Decoder:
    """Turns the bytes of one link into messages. Never raises; memory is bounded.

    Counts bytes, frames, samples, faults and orphans; the other counters are for others.
    """

    def __init__(self, counters: LinkCounters, form: LinkForm = LinkForm.STREAM) -> None:
        self._counters = counters
        self._form = form
        self._deframer = Deframer(counters)
        self._assembler = Assembler(counters)

    @property
    def hello(self) -> Hello | None:
        """The hello in force. While it is None nothing is delivered: ask the head for one."""
        return self._assembler.hello

    def feed(self, data: bytes, arrived_ns: MonotonicNs) -> list[Received]:
        """Take the next bytes; return what they complete, in the order in which it was sent."""
        if self._form is LinkForm.BODIES:
            self._counters.bytes_in += len(data)
            return self._assembler.take([data], arrived_ns)
        return self._assembler.take(self._deframer.feed(data), arrived_ns)

    def reset(self) -> None:
        """Forget the link and its head: the link was opened anew."""
        self._deframer.reset()
        self._assembler.reset()
