"""What all messages share: how they are checked, written and read.

Written strictly, read leniently: a message of ours cannot be built with a key that its model
does not know, and a message from a newer program is read with its unknown keys left out and
its unknown words taken for the worst case.
"""

import json
from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Any, ClassVar, Literal, Self, get_args

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError, model_validator

from calibration.faults import Fault, fault_of, said

DISPLAY_LIMIT_BYTES = 512
"""Largest payload of a topic that a display reads: small clients hold 1 KiB in all."""

COMMAND_LIMIT_BYTES = 1024
"""Largest request that is looked at."""


def _without_minus_zero(number: float) -> float:
    return number + 0.0


Number = Annotated[float, AfterValidator(_without_minus_zero)]
"""A finite number, already rounded for reporting; zero has no sign."""

NonNegative = Annotated[float, Field(ge=0), AfterValidator(_without_minus_zero)]
Level = Annotated[str, Field(pattern=r"^[a-z0-9_-]{1,32}$")]
"""One level of a topic."""
Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9_.-]{1,36}$")]
Code = Annotated[str, Field(pattern=r"^[a-z0-9-]{1,32}$")]
Why = Annotated[str, Field(pattern=r"^[a-z0-9-]{0,32}$")]
"""One reason code, or nothing."""
HardwareId = Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
Sha256 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
UtcTime = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{9}Z$")]
EpochMs = Annotated[int, Field(ge=0, lt=2**53)]
Count = Annotated[int, Field(ge=0, lt=2**53)]

Quality = Literal["good", "uncertain", "bad", "stale"]
Decision = Literal["inside", "undecided", "outside", "none"]
Unit = Literal["deg", "mm", "mm/m", "[in_i]", "Cel", "s", "%", "1"]
"""UCUM codes, a closed list; no sign for minutes of arc, which readers mistake for time."""
SideWord = Literal["left", "right"]

UNTRUSTED: frozenset[str] = frozenset({"bad", "stale"})


class PayloadError(Exception):
    """A payload cannot be read. ``code`` is a reply code; ``text`` one line for a person."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code
        self.text = text


class Part(BaseModel):
    """A piece of a message."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        validate_default=True,
        use_attribute_docstrings=True,  # what stands beside a key stands in its schema
    )


class Message(Part):
    """One payload: a JSON object in UTF-8, flat unless its topic is a description."""

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({})
    """Per key of a closed list of words: what a word that we do not know is taken for."""

    def encode(self) -> bytes:
        """Return the payload: compact, keys in the order of the model."""
        return self.model_dump_json().encode()

    @classmethod
    def decode(cls, payload: bytes) -> Self:
        """Read a payload leniently. Raises ``PayloadError``."""
        try:
            found = json.loads(payload)
        except (ValueError, RecursionError) as error:
            raise PayloadError("bad-json", f"not JSON: {said(error)}") from error
        if not isinstance(found, dict):
            raise PayloadError("bad-json", "not a JSON object")
        try:
            known = json.dumps(cls._in_known_words(found))
            return cls.model_validate_json(known, strict=True, extra="ignore")
        except ValidationError as error:
            raise PayloadError("bad-field", _told(fault_of(error, found, cls))) from error

    @classmethod
    def _in_known_words(cls, found: dict[str, Any]) -> dict[str, Any]:
        for key, worst in cls.WORST.items():
            word = found.get(key)
            if isinstance(word, str) and word not in cls._words(key):
                found = {**found, key: worst}
        return found

    @classmethod
    def _words(cls, key: str) -> tuple[str, ...]:
        return get_args(cls.model_fields[key].annotation)


def _told(fault: Fault) -> str:
    return str(fault) if fault.keys else f"message: {fault}"


class Stamped(Message):
    """A message about a moment: ``t`` and ``ms`` tell when it was measured or became so."""

    t: UtcTime
    ms: EpochMs


class Judged(Stamped):
    """A message that says how far it can be trusted; whoever says less than good says why."""

    WORST: ClassVar[Mapping[str, str]] = MappingProxyType({"q": "bad"})

    q: Quality
    why: Why

    @model_validator(mode="after")
    def _says_why(self) -> Self:
        if self.q != "good" and not self.why:
            raise ValueError(f"q is {self.q} and why is empty")
        return self

    @classmethod
    def _in_known_words(cls, found: dict[str, Any]) -> dict[str, Any]:
        known = super()._in_known_words(found)
        if all(known[key] == found[key] for key in cls.WORST.keys() - {"dec"} if key in found):
            return known
        distrusted = {"dec": "none"} if "dec" in cls.model_fields else {}
        return {**known, "q": "bad", "why": known.get("why") or "unknown-word", **distrusted}
