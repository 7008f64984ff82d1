"""One link's bytes turned into what the bay wants to know: reports and filtered blocks."""

from collections.abc import Callable, Iterator

from calibration.sensors import Correction
from ingest.chain.chain import Chain, ChainSettings
from ingest.core.blocks import RawRun, SampleBlock
from ingest.core.channels import Channel
from ingest.core.counters import LinkCounters
from ingest.core.ports import Chunk, LinkForm
from ingest.service.samplelook import SampleLook
from ingest.wire.decoder import Decoder
from ingest.wire.hello import Hello
from ingest.wire.messages import Report


class HeadFeed:
    """Decoder and filter chain of one link. No I/O, no clock; arrivals come with the chunks.

    A chain is made for a head when its hello is understood, and made anew when the head, its
    rate or its channels change: a swapped head never inherits another's filters.
    """

    def __init__(
        self,
        settings: ChainSettings,
        correction_for: Callable[[Hello], Correction],
        counters: LinkCounters,
        form: LinkForm = LinkForm.STREAM,
    ) -> None:
        self._settings = settings
        self._correction_for = correction_for
        self._counters = counters
        self.form = form
        self._decoder = Decoder(counters, form)
        self._shape: tuple[object, ...] | None = None
        self.chain: Chain | None = None
        self.look = SampleLook()
        """What the samples look like before any filter."""

    @property
    def hello(self) -> Hello | None:
        """The hello in force."""
        return self._decoder.hello

    def restart(self) -> None:
        """Forget what was half received: the link was opened anew."""
        self._decoder.reset()
        if self.chain is not None:
            self.chain.reset()

    def recalibrate(self) -> None:
        """Look the head's correction up again."""
        if self.chain is not None and self.hello is not None:
            self.chain.recalibrate(self._correction_for(self.hello))

    def feed(self, chunk: Chunk) -> Iterator[Report | list[SampleBlock]]:
        """Yield reports, and the blocks that samples completed, in the order of arrival."""
        for item in self._decoder.feed(chunk.data, chunk.arrived_ns):
            if isinstance(item, RawRun):
                self.look.take(item)
                if self.chain is not None:
                    yield self.chain.feed(item)
                continue
            if isinstance(item, Hello) and item.supported:
                self._meet(item)
            yield item

    def _meet(self, hello: Hello) -> None:
        shape = (hello.head, hello.rate_dhz, hello.channels)
        if shape == self._shape and self.chain is not None:
            return
        self._shape = shape
        self.chain = Chain(
            self._settings,
            self._correction_for(hello),
            hello.rate_dhz / 10.0,
            self._counters,
            ranges_of(hello),
        )


def ranges_of(hello: Hello) -> dict[Channel, tuple[int, int]]:
    """Return the range that a head states for each channel, in codes."""
    return {
        info.channel: (info.low, info.high) for info in hello.channels if info.channel is not None
    }
