"""What ``levelhead record show`` prints."""

from collections.abc import Iterator

from calibration.records.record import CalibrationRecord
from calibration.records.results import Run
from calibration.records.text import AnyRecord
from calibration.records.version1 import CalibrationRecord1


def summary(record: AnyRecord) -> str:
    """Return a record as a person reads it: who, what, when, and the results."""
    if isinstance(record, CalibrationRecord1):
        return "\n".join(_lines(record, "version 1, coefficients only"))
    state = "signed" if record.signatures else "draft, not signed"
    state += "; SIMULATED" if record.simulated else ""
    return "\n".join([*_lines(record, state), *_papers(record), *_results(record)])


def _lines(record: AnyRecord, state: str) -> Iterator[str]:
    yield f"{record.record_id} ({state})"
    yield f"  head         {record.head_id}"
    yield f"  issued       {record.issued}, due {record.due or 'on no stated date'}"
    yield f"  coefficients {_coefficients(record)}"
    yield f"  SHA-256      {record.sha256}"


def _coefficients(record: AnyRecord) -> str:
    tilt = () if record.tilt is None else (f"inclinometer, {len(record.tilt.bias_deg)} axes",)
    parts = [*tilt, *record.encoders, *(f"port {name}" for name in record.ports)]
    return "; ".join(parts) or "none yet"


def _papers(record: CalibrationRecord) -> Iterator[str]:
    head, lab, customer = record.head, record.lab, record.customer
    fields = (
        ("item", _list(head.model, head.serial and f"serial {head.serial}", head.firmware)),
        ("laboratory", _list(lab.name, lab.address, lab.country)),
        ("customer", _list(customer.name, customer.address, customer.contact)),
        ("performed", f"{record.performed_from} to {record.performed_to}, {record.place}"),
        ("by", _list(record.performed_by, f"authorised by {record.authorised_by or 'nobody yet'}")),
        ("method", _list(record.method.name, record.method.version)),
        ("previous", "" if record.previous is None else record.previous.record_id),
        ("amends", "" if record.amends is None else record.amends.record_id),
    )
    for name, text in fields:
        if text:
            yield f"  {name:<12} {text}"
    for used in record.references:
        proof = f"{used.certificate} of {used.issuer}, due {used.due}"
        yield f"  reference    {used.id} ({used.kind}): {used.value} {used.unit}, {proof}"


def _results(record: CalibrationRecord) -> Iterator[str]:
    yield from _run("as found", record.as_found)
    if record.adjustment is not None:
        yield f"  adjusted     {record.adjustment.at} by {record.adjustment.by}"
    yield from _run("as left", record.as_left)
    if not record.adjusted and record.as_found is not None:
        yield "  as left      nothing was adjusted: as found"


def _run(name: str, run: Run | None) -> Iterator[str]:
    if run is None:
        return
    yield f"  {name:<12} {run.performed}, {len(run.points)} points"
    judged = {(verdict.channel, verdict.name): verdict for verdict in run.verdicts}
    for figure in run.figures:
        expanded = "" if figure.U is None else f" ± {figure.U} (k = {figure.k})"
        verdict = judged.get((figure.channel, figure.name))
        word = "" if verdict is None else f"  {verdict.decision} (rule {verdict.rule})"
        yield (
            f"    {figure.channel:<14} {figure.name:<14} {figure.value}{expanded} "
            f"{figure.unit}{word}"
        )


def _list(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
