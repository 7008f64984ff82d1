"""What a record still lacks to be a certificate (ISO/IEC 17025:2017, 7.8).

The clauses are named in the answers, so that a person can look them up.
"""

from collections.abc import Callable, Iterator

from calibration.records.adjustment import holds
from calibration.records.papers import IN_FULL, ITEM_ONLY, NOT_ACCREDITED, ReferenceUse
from calibration.records.record import CalibrationRecord
from calibration.records.results import Run

NO_DEVIATIONS = "none"
"""What ``deviations`` says where the method was followed."""


def missing_for_certificate(record: CalibrationRecord) -> tuple[str, ...]:
    """Return a reason for each thing that a certificate must say and this record does not."""
    return tuple(reason for look in LOOKS for reason in look(record))


def _papers(record: CalibrationRecord) -> Iterator[str]:
    lab, customer, head = record.lab, record.customer, record.head
    fields = (
        ("7.8.2.1 a", "title", record.title),
        ("7.8.2.1 b", "lab.name", lab.name),
        ("7.8.2.1 b", "lab.address", lab.address),
        ("7.8.2.1 b", "lab.country", lab.country),
        ("7.8.2.1 c", "place", record.place),
        ("7.8.2.1 e", "customer.name", customer.name),
        ("7.8.2.1 e", "customer.contact", customer.contact),
        ("7.8.2.1 f", "method.name", record.method.name),
        ("7.8.2.1 f", "method.version", record.method.version),
        ("7.8.2.1 g", "head.model", head.model),
        ("7.8.2.1 g", "head.serial", head.serial),
        ("7.8.2.1 g", "head.firmware", head.firmware),
        ("7.8.2.1 n", "deviations", record.deviations),
        ("7.8.2.1 o", "performed_by", record.performed_by),
        ("7.8.2.1 o", "authorised_by", record.authorised_by),
        ("7.5.1", "software.name", record.software.name),
        ("7.5.1", "software.version", record.software.version),
        ("7.5.1", "software.settings_sha256", record.software.settings_sha256),
    )
    for clause, name, text in fields:
        if not text.strip():
            yield f"{clause}: {name} is blank"


def _people(record: CalibrationRecord) -> Iterator[str]:
    performed, authorised = map(_same, (record.performed_by, record.authorised_by))
    if performed and performed == authorised:
        yield "7.8.2.1 o: authorised_by is who performed it; somebody else authorises"


def _statements(record: CalibrationRecord) -> Iterator[str]:
    said = record.statements
    if ITEM_ONLY not in said:
        yield "7.8.2.1 l: statements do not say that the results relate to this item only"
    if IN_FULL not in said:
        yield "7.8.2.1 note: statements do not say how it may be copied"
    if record.accreditation is None and NOT_ACCREDITED not in said:
        yield "statements do not say that it is not issued under accreditation"
    if record.accreditation is not None and NOT_ACCREDITED in said:
        yield "statements deny the accreditation that is named"


def _conditions(record: CalibrationRecord) -> Iterator[str]:
    if record.environment is None:
        yield "7.8.4.1 b: environment is not stated"
    if not record.raw:
        yield "7.5.1: raw names no file of readings"


def _references(record: CalibrationRecord) -> Iterator[str]:
    if not record.references:
        yield "7.8.4.1 c: references names none; without one nothing is traceable"
    for used in record.references:
        for reason in _unfit(record, used):
            yield f"7.8.4.1 c: reference {used.id} {reason}"


def _unfit(record: CalibrationRecord, used: ReferenceUse) -> Iterator[str]:
    if not used.certificate.strip():
        yield "has no certificate number"
    if not used.certificate_sha256:
        yield "has no hash of its certificate"
    if not used.issuer.strip():
        yield "does not say who issued its certificate"
    if used.issued > record.performed_from:
        yield f"was certified on {used.issued}, after the work began on {record.performed_from}"
    if used.due < record.performed_to:
        yield f"was due on {used.due}, before the work ended on {record.performed_to}"


def _results(record: CalibrationRecord) -> Iterator[str]:
    run = record.run_in_force
    name = "as_left" if record.adjusted else "as_found"
    if run is None or not run.points:
        yield f"7.8.2.1 m: {name} has no verification points"
        return
    if any(not point.U.strip("0.") for point in run.points):
        yield f"7.8.4.1 a: {name} has points whose U is zero"
    channels = dict.fromkeys(point.channel for point in run.points)
    budgeted = {budget.channel for budget in record.budgets}
    for channel in channels:
        if channel not in budgeted:
            yield f"7.8.4.1 a: budgets has none for {channel}"


def _adjustment(record: CalibrationRecord) -> Iterator[str]:
    before, found, left = record.coefficients_before, record.as_found, record.as_left
    if not record.adjusted:
        if left is not None:
            yield "7.8.4.1 d: as_left is given although nothing was adjusted"
        if record.adjustment is not None:
            yield "7.8.4.1 d: adjustment is given although nothing was adjusted"
        if before is not None and before != record.coefficients:
            yield "7.8.4.1 d: coefficients were changed, but adjusted says they were not"
        return
    if before == record.coefficients:
        yield "7.8.4.1 d: adjusted, but the coefficients are those of before"
    if before is not None and found is None and _same(record.deviations) in ("", NO_DEVIATIONS):
        yield "7.8.4.1 d: as_found is missing; verify before adjusting, or say why not (deviations)"
    if found and left and left.points and _places(found) != _places(left):
        yield "7.8.4.1 d: as_left does not repeat the points of as_found in their order"
    if record.version > 2:
        yield from _step(record)


def _step(record: CalibrationRecord) -> Iterator[str]:
    """Yield what is wrong with the adjustment as a step between as found and as left."""
    step, found, left = record.adjustment, record.as_found, record.as_left
    if step is None:
        yield "7.8.4.1 d: adjustment is not a signed step; levelhead record adjust makes it one"
        return
    if not holds(record):
        yield "7.8.4.1 d: adjustment was signed for other coefficients, or another as_found"
    if left is not None and left.points and left.after != step.sha256:
        yield "7.8.4.1 d: as_left was not verified after the adjustment; verify it again"
    if found is not None and found.taken_to is not None and found.taken_to > step.at:
        yield f"7.8.4.1 d: as_found was taken until {found.taken_to}, after the adjustment"
    if left is not None and left.taken_from is not None and left.taken_from < step.at:
        yield f"7.8.4.1 d: as_left was taken from {left.taken_from} on, before the adjustment"


def _coefficients(record: CalibrationRecord) -> Iterator[str]:
    if record.tilt is None and not record.encoders:
        yield "7.8.2.1 m: coefficients has neither an inclinometer nor an encoder"


def _conformity(record: CalibrationRecord) -> Iterator[str]:
    runs = [run for run in (record.as_found, record.as_left) if run is not None]
    verdicts = [verdict for run in runs for verdict in run.verdicts]
    if not verdicts:
        return
    if record.decision_rule is None:
        yield "7.8.6: verdicts without a decision_rule"
    elif any(verdict.rule != record.decision_rule for verdict in verdicts):
        yield f"7.8.6: some verdicts were not made by the rule {record.decision_rule}"
    if not record.head_class.strip():
        yield "7.8.6: verdicts without a head_class whose limits they are held to"


def _places(run: Run) -> list[tuple[str, str, str]]:
    return [(p.channel, p.nominal, p.direction) for p in run.points]


def _same(name: str) -> str:
    return " ".join(name.split()).casefold()


LOOKS: tuple[Callable[[CalibrationRecord], Iterator[str]], ...] = (
    _papers,
    _people,
    _statements,
    _conditions,
    _references,
    _coefficients,
    _results,
    _adjustment,
    _conformity,
)
