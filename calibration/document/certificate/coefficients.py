"""The coefficients of before and from now on, and the fits that they come from."""

from collections.abc import Iterator
from dataclasses import dataclass

from calibration.document.blocks import Block, Heading, Paragraph, Table
from calibration.document.certificate import wording
from calibration.document.certificate.parts import columns
from calibration.document.plain import number
from calibration.records.parts import Coefficients, EncoderPart, TiltPart
from calibration.records.record import CalibrationRecord
from calibration.records.results import FitSummary
from calibration.rounding import Place, decimal, place_of

AXES = ("x", "y", "z")
EXACT = Place(-6)
"""Where a coefficient that nobody gave an uncertainty stops showing digits."""

IN_DOUBT = "Rows that do not fit the others"
"""They count all the same: a fit leaves nothing out, and its scatter shows them."""

EXPLAINED = (
    "Angles are corrected in this order. Inclinations: sine of the reading, less the zero at the "
    "sensor's temperature, times the matrix. Encoders: reading, less the zero, less the sum of "
    "c cos(n·reading) + s sin(n·reading) over the harmonics n. "
    "Here u is a standard uncertainty, not expanded."
)


@dataclass(frozen=True, slots=True)
class Coefficient:
    """One coefficient with its standard uncertainty, both in ``unit``."""

    name: str
    value: float
    u: float
    unit: str
    open: bool = False
    """Nothing tells it; what is written in its place is no result."""

    @property
    def place(self) -> Place:
        """The last decimal place that its uncertainty leaves a meaning."""
        return place_of(self.u, 2) if self.u > 0 else EXACT


def coefficients(record: CalibrationRecord) -> Iterator[Block]:
    """Yield the table of coefficients and the table of fits."""
    now = [each for each in listed(record.coefficients) if each.value or each.u]
    if not now:
        return
    before = {c.name: c for c in listed(record.coefficients_before or Coefficients())}
    rows = tuple(_row(each, before.get(each.name)) for each in now)
    titles = ("Coefficient", "Before", "From now on", "u", "Unit")
    yield Heading("Coefficients")
    yield Paragraph(EXPLAINED, "small")
    if record.coefficients.tilt is not None:
        yield Paragraph(_holds(record.coefficients.tilt), "small")
    shares = {"Coefficient": 3, "Before": 1, "From now on": 1, "u": 1, "Unit": 1}
    right = {"Before", "From now on", "u"}
    yield Table("Applied to every reading of this head", columns(titles, shares, right), rows)
    blind = [c for c, each in record.coefficients.encoders.items() if each.zero_open]
    if blind:
        yield Paragraph(wording.OPEN_ZEROS.format(channels=" and ".join(blind)), "small")
    if record.fits:
        yield _fits(record.fits)


def listed(coefficients: Coefficients) -> Iterator[Coefficient]:
    """Yield every coefficient, in the order of the channels."""
    if coefficients.tilt is not None:
        yield from _tilt(coefficients.tilt)
    for channel, encoder in coefficients.encoders.items():
        yield from _encoder(channel, encoder)
    for channel, port in coefficients.ports.items():
        yield Coefficient(
            f"{channel}: port ahead", port.forward_m * 1e3, port.u_forward_m * 1e3, "mm"
        )
        yield Coefficient(
            f"{channel}: port outward", port.outward_m * 1e3, port.u_outward_m * 1e3, "mm"
        )
    if coefficients.stub_m:
        yield Coefficient(
            "stub shaft", coefficients.stub_m * 1e3, coefficients.u_stub_m * 1e3, "mm"
        )


def _tilt(tilt: TiltPart) -> Iterator[Coefficient]:
    at = f"{tilt.reference_temperature_degc:g} °C"
    for i in range(len(tilt.bias_deg)):
        name = f"incl_{AXES[i]}"
        yield Coefficient(f"{name}: zero at {at}", tilt.bias_deg[i], tilt.u_bias_deg[i], "°")
        drift, u_drift = tilt.bias_deg_per_degc[i], tilt.u_bias_deg_per_degc[i]
        yield Coefficient(f"{name}: drift of zero", drift, u_drift, "°/°C")
        scale, u_scale = tilt.scale_per_degc[i], tilt.u_scale_per_degc[i]
        yield Coefficient(f"{name}: drift of scale", scale, u_scale, "1/°C")
        for j in range(len(tilt.bias_deg)):
            entry, u_entry = tilt.matrix[i][j], tilt.u_matrix[i][j]
            yield Coefficient(f"{name}: matrix, share of {AXES[j]}", entry, u_entry, "1")


def _holds(tilt: TiltPart) -> str:
    """Say at which temperature the zeros hold, and what a degree away from it costs."""
    each = " and ".join(
        f"{place_of(u, 2).text(place_of(u, 2).upward(u)) if u > 0 else '0'}° to u of incl_{axis}"
        for axis, u in zip(AXES, tilt.u_bias_deg_per_degc, strict=False)
    )
    text = (
        "Zeros and matrix of the inclinations hold at the sensor temperature of "
        f"{tilt.reference_temperature_degc:g} °C. Each degree away from it "
        f"contributes {each}, in root sum of squares."
    )
    if not any((*tilt.bias_deg_per_degc, *tilt.scale_per_degc)):
        text += (
            " No drift was measured, and none is corrected: readings over temperature, in an oven, "
            "make this share small."
        )
    if tilt.u_wander_deg is not None:
        text += " u of a zero includes what it strays by within a day."
    return text


def _encoder(channel: str, encoder: EncoderPart) -> Iterator[Coefficient]:
    zero, u, blind = encoder.zero_deg, encoder.u_zero_deg, encoder.zero_open
    yield Coefficient(f"{channel}: zero", zero, u, "°", blind)
    for h in encoder.harmonics:
        yield Coefficient(f"{channel}: harmonic {h.order}, c", h.cos_deg, h.u_deg, "°")
        yield Coefficient(f"{channel}: harmonic {h.order}, s", h.sin_deg, h.u_deg, "°")


def _row(now: Coefficient, before: Coefficient | None) -> tuple[str, ...]:
    place = now.place
    if before is None:
        old = "–"
    else:
        old = "open" if before.open else number(place.text(place.nearest(before.value)))
    if now.open:
        return now.name, old, "open", "–", now.unit
    told = place.text(place.upward(now.u)) if now.u > 0 else "not known"
    return now.name, old, number(place.text(place.nearest(now.value))), told, now.unit


def _fits(fits: tuple[FitSummary, ...]) -> Table:
    rows = tuple(
        (
            f"{fit.kind}, {fit.channel}",
            fit.method or "–",
            f"{fit.rank} of {len(fit.names)}",
            "many" if fit.dof is None else f"{decimal(round(fit.dof, 1)):f}",
            ", ".join(fit.undetermined) or "none",
            ", ".join(fit.distrusted) or "none",
        )
        for fit in fits
    )
    titles = ("Fit", "Method", "Determined", "Deg. of freedom", "Undetermined", IN_DOUBT)
    shares = {"Fit": 2, "Method": 2, "Undetermined": 2, IN_DOUBT: 2}
    return Table("Fits behind them, with every row in them", columns(titles, shares), rows)
