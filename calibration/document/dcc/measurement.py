"""The measuring part of a DCC: method, references, conditions, results, conformity."""

from collections.abc import Iterator, Sequence

from calibration.document.certificate import wording
from calibration.document.dcc.administrative import software
from calibration.document.dcc.elements import (
    Element,
    dcc,
    fingerprint,
    quantity,
    real,
    reals,
    said,
    word,
)
from calibration.document.plain import day
from calibration.records.papers import ReferenceUse, Stated
from calibration.records.record import CalibrationRecord
from calibration.records.results import Figure, Point, Run, Verdict

CONFORMITY = {
    "pass": "pass",
    "conditional-pass": "conditionalPass",
    "conditional-fail": "conditionalFail",
    "fail": "fail",
}
"""The record's words as the schema writes them; what was not decided has none."""

BEFORE, AFTER = "beforeAdjustment", "afterAdjustment"


def measured(record: CalibrationRecord) -> Element:
    """Return ``dcc:measurementResults``."""
    return dcc(
        "measurementResults",
        dcc("usedMethods", _method(record)),
        dcc("usedSoftware", software(record)),
        dcc("measuringEquipments", *(_equipment(record, used) for used in record.references)),
        _conditions(record),
        *_runs(record),
    )


def _method(record: CalibrationRecord) -> Element:
    method = record.method
    edition = said("description", f"Edition: {method.version}")
    return dcc("usedMethod", said("name", method.name), edition)


def _equipment(record: CalibrationRecord, used: ReferenceUse) -> Element:
    """Return a reference with the certificate that its value stands on."""
    in_time = used.issued <= record.performed_from and record.performed_to <= used.due
    source = f"Issued by {used.issuer} on {day(used.issued)}, due {day(used.due)}"
    certificate = fingerprint(
        "certificate",
        "Calibration certificate",
        used.certificate,
        used.certificate_sha256,
        said("description", source),
        dcc("inValidityRange", text=str(in_time).lower()),
        dcc("traceable", text=str(not record.simulated).lower()),
    )
    value = dcc(
        "measuringEquipmentQuantity",
        said("name", "Calibrated value"),
        real(used.value, used.unit, used.U, used.k),
    )
    also = (
        dcc(
            "measuringEquipmentQuantity",
            said("name", more.what),
            real(more.value, more.unit, more.U, used.k),
        )
        for more in used.also
    )
    named = dcc("issuer", text="calibrationLaboratory"), word("value", used.id)
    return dcc(
        "measuringEquipment",
        said("name", f"{wording.kind_name(used.kind)} {used.id}"),
        certificate,
        dcc("identifications", dcc("identification", *named)),
        dcc("measuringEquipmentQuantities", value, *also),
    )


def _conditions(record: CalibrationRecord) -> Element | None:
    around = record.environment
    if around is None:
        return None
    stated = (("Temperature", around.temperature), ("Relative humidity", around.humidity))
    present = (_condition(name, value) for name, value in stated if value is not None)
    return dcc("influenceConditions", *present)


def _condition(name: str, value: Stated) -> Element:
    content = real(value.value, value.unit, value.U, value.k)
    data = dcc("data", quantity(name, content))
    return dcc("influenceCondition", said("name", name), data)


def _runs(record: CalibrationRecord) -> Iterator[Element]:
    if record.as_found is not None:
        yield _run("As found", record.as_found, BEFORE if record.adjusted else None)
    if record.as_left is not None:
        yield _run("As left", record.as_left, AFTER)


def _run(name: str, run: Run, status: str | None) -> Element:
    channels = dict.fromkeys(point.channel for point in run.points)
    results = [_points(channel, run) for channel in channels]
    if run.figures:
        results.append(_figures(run))
    performed = f"Performed on {day(run.performed)}"
    state = None
    if status is not None:
        data = dcc("data", said("text", performed))
        condition = (said("name", "State of adjustment"), dcc("status", text=status), data)
        state = dcc("influenceConditions", dcc("influenceCondition", *condition))
    return dcc(
        "measurementResult",
        said("name", name),
        said("description", performed),
        state,
        dcc("results", *results),
    )


def _points(channel: str, run: Run) -> Element:
    points = [point for point in run.points if point.channel == channel]
    units = [point.unit for point in points]

    def column(name: str, field: str, ref: str) -> Element:
        values = [str(getattr(point, field)) for point in points]
        return quantity(name, reals(values, units), ref=ref)

    listed = dcc(
        "list",
        said("name", f"Points of {channel}"),
        column("Nominal angle", "nominal", "basic_nominalValue"),
        column("Reference", "reference", "basic_referenceValue"),
        column("Indication", "indication", "basic_measuredValue"),
        _errors(points, units),
        quantity("Direction of approach", _words([point.direction for point in points])),
        quantity(
            "Readings per point", reals([str(p.repeats) for p in points], ["1"] * len(points))
        ),
    )
    return dcc("result", said("name", wording.channel_name(channel)), dcc("data", listed))


def _errors(points: list[Point], units: Sequence[str]) -> Element:
    expanded, k = [point.U for point in points], [point.k for point in points]
    content = reals([point.error for point in points], units, expanded, k)
    return quantity("Error", content, ref="basic_measurementError")


def _words(words: Sequence[str]) -> Element:
    return dcc("charsXMLList", text=" ".join(words))


def _figures(run: Run) -> Element:
    judged = {(verdict.channel, verdict.name): verdict for verdict in run.verdicts}
    quantities = (_figure(f, judged.get((f.channel, f.name))) for f in run.figures)
    return dcc("result", said("name", "Figures of merit"), dcc("data", *quantities))


def _figure(figure: Figure, verdict: Verdict | None) -> Element:
    name = f"{wording.FIGURES[figure.name]}, {wording.channel_name(figure.channel)}"
    content = real(figure.value, figure.unit, figure.U, figure.k)
    if verdict is None:
        return quantity(name, content)
    return quantity(name, content, dcc("measurementMetaData", _conformity(verdict)))


def _conformity(verdict: Verdict) -> Element:
    limits = (("Lower limit", verdict.low), ("Upper limit", verdict.high))
    quantities = [
        quantity(name, real(limit, verdict.unit)) for name, limit in limits if limit is not None
    ]
    word_of = CONFORMITY.get(verdict.decision)
    return dcc(
        "metaData",
        said("name", "Conformity"),
        said("declaration", f"Decided by the rule {verdict.rule}"),
        None if word_of is None else dcc("conformity", text=word_of),
        dcc("data", *quantities) if quantities else None,
    )
