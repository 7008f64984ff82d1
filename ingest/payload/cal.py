"""Which calibration record a head has: never the whole document."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar, Literal

from ingest.payload.base import Id, Judged, Sha256

CalResult = Literal["pass", "conditional-pass", "conditional-fail", "fail", "none"]


class CalLatest(Judged):
    """``cal/{head}/latest``. A head without a record has no such topic."""

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"q": "bad", "result": "fail"})

    id: Id
    sha256: Sha256
    issued: str
    due: str | None = None
    result: CalResult = "none"
