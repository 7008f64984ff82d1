"""The calibration record: what one head reads wrong, and how well that is known.

At this edge angles are degrees and every name says so. A record is immutable and carries the
SHA-256 of its own canonical form (RFC 8785), so that a changed figure does not go unnoticed.
"""

import hashlib
import json
from datetime import date
from typing import Annotated, Any, Literal, Self

import rfc8785
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from calibration.errors import CalibrationFileError

FORMAT: Literal["levelhead-calibration"] = "levelhead-calibration"
VERSION: Literal[1] = 1

Uncertainty = Annotated[float, Field(ge=0)]
Vector = tuple[float, float] | tuple[float, float, float]
VectorU = tuple[Uncertainty, Uncertainty] | tuple[Uncertainty, Uncertainty, Uncertainty]
Matrix = tuple[Vector, ...]
MatrixU = tuple[VectorU, ...]
AzimuthChannel = Literal["azimuth_cross", "azimuth_track"]
CircularChannel = Literal["rotation", "azimuth_cross", "azimuth_track", "steer"]
AnyChannel = Literal[
    "incl_x",
    "incl_y",
    "incl_z",
    "rotation",
    "azimuth_cross",
    "azimuth_track",
    "steer",
    "temperature",
]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class TiltPart(_Part):
    """The inclinometer: ``s_true = M(T) @ (s_raw - b(T))`` on the sines of the readings.

    Rows are incl_x, incl_y and, with three axes, incl_z. ``b(T)`` is ``bias_deg`` (as an angle
    at zero) plus ``bias_deg_per_degc`` times T minus the reference temperature; ``M(T)`` is
    ``matrix`` with row i times 1 plus ``scale_per_degc[i]`` times the same difference. Every
    ``u_`` is a standard uncertainty; ``dof`` null means many.
    """

    reference_temperature_degc: float
    bias_deg: Vector
    u_bias_deg: VectorU
    matrix: Matrix
    u_matrix: MatrixU
    bias_deg_per_degc: Vector
    u_bias_deg_per_degc: VectorU
    scale_per_degc: Vector
    u_scale_per_degc: VectorU
    dof: Annotated[float, Field(gt=0)] | None = None

    @model_validator(mode="after")
    def _check_shapes(self) -> Self:
        n = len(self.bias_deg)
        vectors = {
            "u_bias_deg": self.u_bias_deg,
            "bias_deg_per_degc": self.bias_deg_per_degc,
            "u_bias_deg_per_degc": self.u_bias_deg_per_degc,
            "scale_per_degc": self.scale_per_degc,
            "u_scale_per_degc": self.u_scale_per_degc,
        }
        for name, vector in vectors.items():
            if len(vector) != n:
                raise ValueError(f"{name} has {len(vector)} axes, bias_deg has {n}")
        for name, rows in {"matrix": self.matrix, "u_matrix": self.u_matrix}.items():
            if len(rows) != n or any(len(row) != n for row in rows):
                raise ValueError(f"{name} is not {n} by {n}")
        return self


class Harmonic(_Part):
    """One harmonic of an encoder's error: ``cos_deg cos(k raw) + sin_deg sin(k raw)``."""

    order: Literal[1, 2, 4]
    cos_deg: float
    sin_deg: float
    u_deg: Uncertainty
    """Standard uncertainty of each of the two."""


class EncoderPart(_Part):
    """An encoder: ``true = raw - zero - sum of harmonics of raw``."""

    zero_deg: float
    u_zero_deg: Uncertainty
    harmonics: tuple[Harmonic, ...] = ()
    dof: Annotated[float, Field(gt=0)] | None = None

    @model_validator(mode="after")
    def _check_orders(self) -> Self:
        orders = [h.order for h in self.harmonics]
        if len(set(orders)) != len(orders):
            raise ValueError("a harmonic is given twice")
        return self


class Port(_Part):
    """Where a sightline starts, from the point where the shaft meets the hub."""

    forward_m: float
    outward_m: float
    u_forward_m: Uncertainty
    u_outward_m: Uncertainty


class ChannelFigures(_Part):
    """What a channel's readings look like at rest."""

    noise_deg: Uncertainty
    """Standard deviation of one reading (degC for the temperature)."""
    resolution_deg: Uncertainty
    """Smallest step of a reading (degC for the temperature)."""


class CalibrationRecord(_Part):
    """One head's calibration. Only ``seal`` and ``load_record`` make one that counts."""

    format: Literal["levelhead-calibration"] = FORMAT
    version: Literal[1] = VERSION
    record_id: Annotated[str, Field(pattern=r"^cal-\d{4}-\d{4,}$")]
    head_id: Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
    issued: date
    due: date | None
    tilt: TiltPart | None
    encoders: dict[CircularChannel, EncoderPart]
    ports: dict[AzimuthChannel, Port]
    stub_m: Annotated[float, Field(ge=0)]
    u_stub_m: Uncertainty
    channels: dict[AnyChannel, ChannelFigures]
    sha256: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")] = ""
    """Hash of everything else; empty until sealed."""

    @model_validator(mode="after")
    def _check_dates(self) -> Self:
        if self.due is not None and self.due <= self.issued:
            raise ValueError("due is not after issued")
        return self

    def overdue(self, today: date) -> bool:
        """Say whether the record's time is over on ``today``."""
        return self.due is not None and today > self.due


def seal(record: CalibrationRecord) -> CalibrationRecord:
    """Return the record with its hash filled in."""
    return record.model_copy(update={"sha256": _digest(record.model_dump(mode="json"))})


def dump_record(record: CalibrationRecord) -> str:
    """Return a sealed record as JSON text: indented, keys in order, ending in a newline."""
    if not record.sha256:
        raise ValueError(f"record {record.record_id} is not sealed")
    return json.dumps(record.model_dump(mode="json"), indent=2, sort_keys=True) + "\n"


def load_record(text: str, where: str = "calibration record") -> CalibrationRecord:
    """Read a record from JSON text; ``where`` names it in messages (a path, a row).

    Raises:
        CalibrationFileError: it cannot be read, is of an unknown format or version, has been
            altered (its hash differs), or has values that no record may have.
    """
    raw = _parse(text, where)
    if raw.get("format") != FORMAT:
        raise CalibrationFileError(where, f"not a {FORMAT} record")
    if raw.get("version") != VERSION or isinstance(raw["version"], bool):
        reason = f"version {raw.get('version')!r} is unknown; this program reads {VERSION}"
        raise CalibrationFileError(where, reason)
    try:
        canonical, digest = rfc8785.dumps(raw), _digest(raw)
    except rfc8785.CanonicalizationError as error:
        raise CalibrationFileError(where, f"no canonical form: {error}") from error
    if raw.get("sha256") != digest:
        raise CalibrationFileError(where, "altered after it was sealed: its hash differs")
    try:
        return CalibrationRecord.model_validate_json(canonical, strict=True)
    except ValidationError as error:
        raise CalibrationFileError(where, _first_fault(error)) from error


def _digest(content: dict[str, Any]) -> str:
    body = {key: value for key, value in content.items() if key != "sha256"}
    return hashlib.sha256(rfc8785.dumps(body)).hexdigest()


def _parse(text: str, where: str) -> dict[str, Any]:
    try:
        raw = json.loads(text, object_pairs_hook=_unique, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise CalibrationFileError(where, f"unreadable JSON: {error}") from error
    if not isinstance(raw, dict):
        raise CalibrationFileError(where, "unreadable: not a JSON object")
    return raw


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Two readers may differ on which of two equal keys counts, so neither is taken."""
    result = dict(pairs)
    if len(result) != len(pairs):
        raise ValueError("a key is given twice")
    return result


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is not a number")


def _first_fault(error: ValidationError) -> str:
    first = error.errors(include_url=False)[0]
    place = ".".join(str(step) for step in first["loc"])
    return f"{place}: {first['msg']}" if place else first["msg"]
