"""The first page: what was calibrated, for whom, when, with what outcome, and who says so."""

from collections.abc import Iterable

from calibration.document.blocks import (
    Block,
    Columns,
    Facts,
    Notice,
    Outcome,
    Paragraph,
    People,
    Points,
    Spring,
)
from calibration.document.certificate import wording
from calibration.document.certificate.figures import summary
from calibration.document.certificate.judged import Judged
from calibration.document.certificate.parts import known
from calibration.document.plain import count, day
from calibration.records.complete import missing_for_certificate
from calibration.records.fields import Conformity
from calibration.records.papers import IN_FULL, ITEM_ONLY, NOT_ACCREDITED
from calibration.records.record import CalibrationRecord
from calibration.records.results import Run


def face(record: CalibrationRecord, signed: Judged) -> tuple[Block, ...]:
    """Return the blocks of the first page."""
    return (
        *_simulated(record),
        *_draft(record),
        *_unchecked(record, signed),
        Columns(((_item(record),), (_customer(record),))),
        Columns(((_times(record),), (_method(record),))),
        outcome(record),
        *summary(record.run_in_force),
        Paragraph(" ".join(_small_print(record)), "small"),
        Points(statements(record)),
        Spring(),
        People((("Performed by", record.performed_by), ("Authorised by", record.authorised_by))),
    )


def outcome(record: CalibrationRecord) -> Outcome:
    """Return the worst decision on the results in force, in words."""
    run = record.run_in_force
    if run is None or not run.points:
        return Outcome("Open", wording.NOT_MEASURED, None)
    decided = _decided(run)
    decision = worst(run)
    if decision is None:
        return Outcome("Calibrated", wording.NO_VERIFICATION, None)
    n, passed = len(decided), decided.count("pass")
    state = "as left" if record.adjusted else "as found"
    before = worst(record.as_found) if record.adjusted else None
    text = (
        f"Verified {state} against the limits of {record.head_class or 'a class not named yet'} "
        f"by the rule “{record.decision_rule or 'not named yet'}”: "
        f"{passed} of {count(n, 'figure')} with limits passed."
    )
    if before is not None:
        text += f"\nAs found, before adjustment: {wording.DECISIONS[before].lower()}."
    return Outcome(wording.DECISIONS[decision], text, decision in ("pass", "conditional-pass"))


def worst(run: Run | None) -> Conformity | None:
    """Return the worst of a run's decisions; None where nothing was decided."""
    return max(_decided(run), key=wording.WORST_LAST.index, default=None)


def _decided(run: Run | None) -> list[Conformity]:
    verdicts = () if run is None else run.verdicts
    return [verdict.decision for verdict in verdicts if verdict.decision != "none"]


def statements(record: CalibrationRecord) -> tuple[str, ...]:
    """Return the record's statements, and those that no certificate goes without."""
    needed = [ITEM_ONLY, IN_FULL]
    if record.accreditation is None:
        needed.append(NOT_ACCREDITED)
    return (*record.statements, *(text for text in needed if text not in record.statements))


def _small_print(record: CalibrationRecord) -> Iterable[str]:
    """Yield what U is, where values come from, and whose zero no figure covers."""
    yield wording.UNCERTAINTY_SHORT
    yield _traceable(record)
    if record.run_in_force is not None:
        yield from _zeros(record.run_in_force)


def _zeros(run: Run) -> Iterable[str]:
    """Yield whose zero was verified on the bar, and whose nothing verifies."""
    told = {figure.channel: True for figure in run.figures if figure.channel in wording.CIRCULAR}
    told |= {f.channel: False for f in run.figures if f.channel in told and f.name == "zero"}
    azimuths = [channel for channel in told if channel.startswith("azimuth")]
    groups = (
        (wording.ZERO_ON_BAR, [channel for channel in azimuths if not told[channel]]),
        (wording.NO_ZERO, [channel for channel in azimuths if told[channel]]),
        (wording.DIFFERENCES, [channel for channel in told if channel not in azimuths]),
    )
    yield from (wording.of_channels(text, channels) for text, channels in groups if channels)


def _traceable(record: CalibrationRecord) -> str:
    if record.simulated:
        return wording.SIMULATED_TRACE
    return wording.TRACEABLE if record.references else wording.NOT_TRACEABLE


def _simulated(record: CalibrationRecord) -> Iterable[Block]:
    if record.simulated:
        yield Notice("Simulated", wording.SIMULATED, "attention")


def _draft(record: CalibrationRecord) -> Iterable[Block]:
    if record.signatures:
        return
    missing = missing_for_certificate(record)
    if missing:
        yield Notice("Draft", "\n".join([wording.DRAFT, *missing]), "attention")
    else:
        yield Notice("Draft", wording.COMPLETE_DRAFT, "attention")


def _unchecked(record: CalibrationRecord, signed: Judged) -> Iterable[Block]:
    if record.signatures and not signed.checked:
        yield Notice("Signature not checked", wording.UNCHECKED, "attention")


def _item(record: CalibrationRecord) -> Facts:
    head = record.head
    return known(
        (
            ("Item", "Measuring head"),
            ("Model", head.model),
            ("Serial", head.serial),
            ("Identity", head.head_id),
            ("Firmware", head.firmware),
            ("Condition", head.condition),
        )
    )


def _customer(record: CalibrationRecord) -> Facts:
    customer = record.customer
    return known(
        (
            ("Customer", customer.name),
            ("Address", customer.address),
            ("Contact", customer.contact),
            ("Place", record.place),
            ("Accreditation", record.accreditation),
        )
    )


def _times(record: CalibrationRecord) -> Facts:
    first, last = record.performed_from, record.performed_to
    due = record.due_printed
    return known(
        (
            ("Received", None if record.received is None else day(record.received)),
            ("Performed", day(first) if first == last else f"{day(first)} to {day(last)}"),
            ("Issued", day(record.issued)),
            ("Next due", None if due is None else f"{day(due)}, as agreed"),
        )
    )


def _method(record: CalibrationRecord) -> Facts:
    method = record.method
    edition = f"{method.name}, {method.version}" if method.version else method.name
    return known(
        (
            ("Method", edition),
            ("Deviations", record.deviations),
            ("From outside", record.external),
            ("Replaces", record.amends.record_id if record.amends else None),
        )
    )
