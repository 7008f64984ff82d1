# ruff: noqa: N815 - a quantity and its U are spelt as on the wire.
"""The run-out of one wheel, while it turns and when it is done."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar, Literal, Self

from pydantic import Field, model_validator

from ingest.payload.base import Count, Id, Judged, NonNegative, Number, SideWord

RunoutState = Literal["turning", "done", "refused"]

_ONLY_WHERE_USED = ("job", "further", "figure", "limit")
"""Left out while they say nothing: with them the fullest message is beyond a display's limit."""

_PAIRS = ("camber", "heading", "runout", "phase", "ecc")


class Runout(Judged):
    """``head/{head}/runout``. Angles in degrees; eccentricity in millimetres.

    While the wheel turns, the figures are those so far, and ``further`` says how many degrees
    more would reach the uncertainty asked for (None: not to be reached by turning).
    A refused one names its reason in ``why`` with the ``figure`` that was held against
    ``limit``.
    """

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"q": "bad", "state": "refused"})

    id: Id
    boot: Id
    seq: Count
    job: Id | None = None
    axle: int | None = Field(default=None, ge=1)
    side: SideWord | None = None
    state: RunoutState
    n: Count
    arc: NonNegative
    """How far the wheel has turned, from the first to the last reading used."""
    camber: Number | None = None
    camber_U: NonNegative | None = None
    heading: Number | None = None
    heading_U: NonNegative | None = None
    runout: NonNegative | None = None
    runout_U: NonNegative | None = None
    phase: Number | None = None
    phase_U: NonNegative | None = None
    unit: Literal["deg"] = "deg"
    ecc_mm: NonNegative | None = None
    ecc_U: NonNegative | None = None
    k: NonNegative | None = None
    dp: int = Field(ge=0, le=9)
    dilution: NonNegative | None = None
    further: NonNegative | None = None
    harm: int = Field(default=1, ge=1)
    """Highest harmonic in the fit."""
    rms: NonNegative | None = None
    figure: Number | None = None
    limit: Number | None = None
    cal: Id | None = None
    dec: Literal["none"] = "none"
    ttl: NonNegative

    def encode(self) -> bytes:
        """Return the payload, without the keys that only some run-outs have."""
        unused = {key for key in _ONLY_WHERE_USED if getattr(self, key) is None}
        return self.model_dump_json(exclude=unused).encode()

    @model_validator(mode="after")
    def _refused_is_bad(self) -> Self:
        if self.state == "refused" and self.q != "bad":
            raise ValueError(f"refused, and q is {self.q}")
        if self.state == "done" and self.q != "bad" and self.camber is None:
            raise ValueError("done without a camber")
        return self

    @model_validator(mode="after")
    def _uncertain_of_something(self) -> Self:
        for name in _PAIRS:
            value = getattr(self, "ecc_mm" if name == "ecc" else name)
            if getattr(self, f"{name}_U") is not None and (value is None or self.k is None):
                raise ValueError(f"{name}_U without its value or k")
        return self
