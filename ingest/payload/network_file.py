"""The network file: stations of a vehicle and what was read between them, as JSON.

Described in ``ingest/geometry/network/FILES.md``. What a person writes by hand is read strictly:
a key that nobody knows is refused, since a port that is misspelt would be a port left out.
"""

import json
from typing import Annotated, Any, Literal, NoReturn

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError

from calibration.faults import said
from ingest.payload.network_faults import fault_of

MOST_STATIONS = 60
"""More than any vehicle and most textbooks; the work grows with the cube."""

MOST_SETUPS = 60
MOST_PAIRS = MOST_STATIONS * (MOST_STATIONS - 1) // 2
MOST_CHARACTERS = 4 * 1024 * 1024
"""Of a file: ten times one with all that may stand in it."""

Name = Annotated[
    str,
    Field(max_length=36, pattern=r"^[^\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]+$"),
]
"""Any script; no line breaks, nor signs that turn the text round: messages are one line."""

AngleDeg = Annotated[float, Field(ge=-360.0, le=360.0)]
LEAST_SIGMA = 1e-9
SigmaDeg = Annotated[float, Field(ge=LEAST_SIGMA, le=90.0)]
SigmaM = Annotated[float, Field(ge=LEAST_SIGMA, le=1e4)]


def _nothing_or_told(sigma: float) -> float:
    if 0.0 < sigma < LEAST_SIGMA:
        raise ValueError(f"must be 0, or at least {LEAST_SIGMA:g}")
    return sigma


MountedDeg = Annotated[float, Field(ge=0.0, le=10.0), AfterValidator(_nothing_or_told)]
MountedM = Annotated[float, Field(ge=0.0, le=0.1), AfterValidator(_nothing_or_told)]
Metres = Annotated[float, Field(ge=-1e8, le=1e8)]
LengthM = Annotated[float, Field(gt=0.0, le=1e8)]
PortM = tuple[Annotated[float, Field(ge=-3.0, le=3.0)], Annotated[float, Field(ge=-3.0, le=3.0)]]
"""Forward and outward of the hub; no arm is longer."""

AxleNumber = Annotated[int, Field(ge=1, le=99)]


class _Entry(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class StationEntry(_Entry):
    """A wheel (with ``axle`` and ``side``) or a pin (without)."""

    id: Name
    x_m: Metres
    y_m: Metres
    z_m: Metres = 0.0
    axle: AxleNumber | None = None
    side: Literal["left", "right"] | None = None
    fixed: bool = False
    zero_sigma_deg: MountedDeg = 0.0
    seat_sigma_m: MountedM = 0.0
    note: str = ""


class _Reading(_Entry):
    at: Name
    setup: Name | None = None
    use: bool = True
    note: str = ""


class DirectionEntry(_Reading):
    """From the wheel's heading to a sightline. With a ``channel`` the service reads it live."""

    type: Literal["direction"]
    to: Name
    angle_deg: AngleDeg | None = None
    channel: Literal["azimuth_cross", "azimuth_track"] | None = None
    sigma_deg: SigmaDeg
    at_port_m: PortM = (0.0, 0.0)
    to_port_m: PortM = (0.0, 0.0)


class AngleEntry(_Reading):
    """From one sightline of a head to another."""

    model_config = ConfigDict(validate_by_name=True, validate_by_alias=True)

    type: Literal["angle"]
    from_: Annotated[Name, Field(alias="from")]
    to: Name
    angle_deg: AngleDeg | None = None
    sigma_deg: SigmaDeg
    at_port_m: PortM = (0.0, 0.0)
    to_port_m: PortM = (0.0, 0.0)
    at_from_port_m: PortM | None = None
    from_port_m: PortM = (0.0, 0.0)


class AzimuthEntry(_Reading):
    """From X to a sightline: a datum."""

    type: Literal["azimuth"]
    to: Name
    angle_deg: AngleDeg | None = None
    sigma_deg: SigmaDeg
    at_port_m: PortM = (0.0, 0.0)
    to_port_m: PortM = (0.0, 0.0)


class DistanceEntry(_Reading):
    """A tape, from hub to hub unless ports say otherwise."""

    type: Literal["distance"]
    to: Name
    distance_m: LengthM | None = None
    sigma_m: SigmaM
    at_port_m: PortM = (0.0, 0.0)
    to_port_m: PortM = (0.0, 0.0)


Entry = DirectionEntry | AngleEntry | AzimuthEntry | DistanceEntry
ReadingEntry = Annotated[Entry, Field(discriminator="type")]


class CheckEntry(_Entry):
    """A tape distance that is kept out of the network, to prove it with."""

    at: Name
    to: Name
    distance_m: LengthM | None = None
    sigma_m: SigmaM
    note: str = ""


class SetupEntry(_Entry):
    """A state of the mountings; ``stayed`` are wheels whose heads nobody touched before it."""

    id: Name
    stayed: Annotated[tuple[Name, ...], Field(max_length=MOST_STATIONS)] = ()
    note: str = ""


class NetworkFile(_Entry):
    """A whole file."""

    about: str = ""
    stations: Annotated[tuple[StationEntry, ...], Field(min_length=2, max_length=MOST_STATIONS)]
    observations: Annotated[tuple[ReadingEntry, ...], Field(max_length=20 * MOST_STATIONS)]
    centre_line: tuple[AxleNumber | Name, AxleNumber | Name] | None = None
    reference_axle: AxleNumber | None = None
    drive_axles: Annotated[tuple[AxleNumber, ...], Field(max_length=MOST_STATIONS)] = ()
    steer_axles: Annotated[tuple[AxleNumber, ...], Field(max_length=2)] = ()
    setups: Annotated[tuple[SetupEntry, ...], Field(max_length=MOST_SETUPS)] = ()
    blocked: Annotated[tuple[tuple[Name, Name], ...], Field(max_length=MOST_PAIRS)] = ()
    checks: Annotated[tuple[CheckEntry, ...], Field(max_length=MOST_PAIRS)] = ()


class NetworkFileError(Exception):
    """A network file cannot be used; ``str(error)`` says where and why, in one line."""


def parse_network_file(text: str) -> NetworkFile:
    """Read a network file from its text. Raises ``NetworkFileError``."""
    if len(text) > MOST_CHARACTERS:
        reason = f"{len(text)} characters; a network file has {MOST_CHARACTERS} at the most"
        raise NetworkFileError(f"not a network file: {reason}")
    try:
        found = json.loads(text, parse_constant=_no_number, object_pairs_hook=_once)
    except (ValueError, RecursionError) as error:
        raise NetworkFileError(f"not JSON: {said(error)}") from error
    if not isinstance(found, dict):
        raise NetworkFileError("not a JSON object with stations and observations")
    try:
        # As text again, since pydantic's strict mode takes lists for tuples in JSON alone.
        return NetworkFile.model_validate_json(json.dumps(found), strict=True)
    except ValidationError as error:
        raise NetworkFileError(fault_of(error, found, NetworkFile)) from error


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a finite number; leave the reading out")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in pairs:
        if key in found:
            raise ValueError(f"key {key!r} is there twice in one object; keep one")
        found[key] = value
    return found
