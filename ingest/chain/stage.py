"""What a stage of the chain is, and how its settings are refused."""

from typing import Protocol

from ingest.core.blocks import SampleBlock
from ingest.core.errors import ConfigError


class Stage(Protocol):
    """Takes blocks in order, keeps its state to itself, reads no clock, raises for no data.

    How the samples are cut into blocks changes nothing but the cuts of what comes out. A block
    with ``after_gap`` begins anew: what the stage still holds leaves first, cut short. The
    first block out after ``reset`` bears ``after_gap``, since what was held is forgotten.
    """

    def feed(self, block: SampleBlock) -> list[SampleBlock]:
        """Take one block; return the blocks that it completes, none of them empty."""
        ...

    def reset(self) -> None:
        """Forget every sample; settings and counters stay."""
        ...


def require(ok: bool, field: str, value: object, allowed: str) -> None:
    """Refuse a setting of the chain.

    Raises:
        ConfigError: ``ok`` is false.
    """
    if not ok:
        raise ConfigError("filter chain", field, value, allowed)
