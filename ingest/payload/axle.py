"""Results of an axle or a wheel: one object holds value, uncertainty, limits and decision."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import ClassVar, Literal, Self

from pydantic import ConfigDict, Field, JsonValue, model_validator

from ingest.payload.base import (
    UNTRUSTED,
    Decision,
    Id,
    Judged,
    Level,
    NonNegative,
    Number,
    Unit,
)

Rule = Literal["simple", "guard-u", "guard-u-4"]


DECIDES_ON_SOLID_GROUND: dict[str, JsonValue] = {
    "if": {
        "anyOf": [
            {"properties": {"q": {"enum": ["bad", "stale"]}}, "required": ["q"]},
            {"properties": {"U": {"type": "null"}}, "required": ["U"]},
        ]
    },
    "then": {"properties": {"dec": {"const": "none"}}},
}
"""The rule of ``AxleResult`` on decisions, for whoever checks by the schema."""


class AxleResult(Judged):
    """``axle/{n}/{left|right|both}/{quantity}`` and ``vehicle/{quantity}``.

    ``dec`` was made on the unrounded figures. Without limits, without an uncertainty or
    without trust in the value there is no decision.
    """

    model_config = ConfigDict(json_schema_extra=DECIDES_ON_SOLID_GROUND)
    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"q": "bad", "dec": "none"})

    id: Id
    boot: Id
    job: Id | None = None
    qty: Level
    value: Number | None
    unit: Unit
    U: NonNegative | None
    k: NonNegative | None
    dp: int = Field(ge=0, le=9)
    lo: Number | None = None
    hi: Number | None = None
    rule: Rule | None = None
    dec: Decision = "none"
    cal: str | None = Field(default=None, max_length=80)
    """Ids of the calibration records behind it, joined by a plus sign."""
    against: str | None = Field(default=None, max_length=64)
    """What a camber, caster or SAI is told against: the survey of the bay's standing points, by
    name and day, or ``gravity`` alone; null where nothing vertical has a part in it."""
    text: str = Field(max_length=64)
    ttl: NonNegative = 0

    @model_validator(mode="after")
    def _decides_on_solid_ground(self) -> Self:
        if self.value is None and self.q not in UNTRUSTED:
            raise ValueError(f"no value, and q is {self.q}")
        if self.U is not None and self.k is None:
            raise ValueError("U without its k")
        if self.dec == "none":
            return self
        if self.q in UNTRUSTED or self.U is None:
            raise ValueError(f"dec is {self.dec} with q {self.q} and U {self.U}")
        if self.rule is None or (self.lo is None and self.hi is None):
            raise ValueError(f"dec is {self.dec} without a rule or a limit")
        return self
