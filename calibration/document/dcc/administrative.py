"""The administrative part of a DCC: software, core data, item, laboratory, people, statements."""

from collections.abc import Iterator
from datetime import date

from calibration.document.certificate import wording
from calibration.document.certificate.face import statements as said_by_certificate
from calibration.document.certificate.proof import how_to_check, traced
from calibration.document.dcc.elements import LANGUAGE, Element, dcc, fingerprint, said, word
from calibration.document.plain import day
from calibration.records.papers import Head
from calibration.records.record import CalibrationRecord

PLACES = ("laboratory", "customer")
"""Places that the schema has a word for; any other is told in a statement."""


def administrative(record: CalibrationRecord) -> Element:
    """Return ``dcc:administrativeData``."""
    return dcc(
        "administrativeData",
        dcc("dccSoftware", software(record)),
        _core(record),
        dcc("items", _item(record.head, simulated=record.simulated)),
        _laboratory(record),
        _people(record),
        _contact(
            "customer", record.customer.name, record.customer.address, record.customer.contact
        ),
        dcc("statements", *_statements(record)),
    )


def software(record: CalibrationRecord) -> Element:
    """Return the program that computed the results and wrote the file."""
    used = record.software
    return dcc(
        "software",
        said("name", used.name),
        word("release", used.version),
        dcc("type", text="application"),
        said("description", f"Run with settings of SHA-256 {used.settings_sha256}"),
    )


def _core(record: CalibrationRecord) -> Element:
    return dcc(
        "coreData",
        dcc("countryCodeISO3166_1", text=record.lab.country),
        dcc("usedLangCodeISO639_1", text=LANGUAGE),
        dcc("mandatoryLangCodeISO639_1", text=LANGUAGE),
        dcc("uniqueIdentifier", text=record.record_id),
        _day("receiptDate", record.received),
        _day("beginPerformanceDate", record.performed_from),
        _day("endPerformanceDate", record.performed_to),
        dcc("performanceLocation", text=_place(record.place)),
        _day("issueDate", record.issued),
        _amended(record),
        _previous(record),
    )


def _day(name: str, when: date | None) -> Element | None:
    return None if when is None else dcc(name, text=when.isoformat())


def _place(place: str) -> str:
    word = place.strip().casefold()
    return word if word in PLACES else "other"


def _amended(record: CalibrationRecord) -> Element | None:
    if record.amends is None:
        return None
    return dcc(
        "reportAmendedSubstituted",
        dcc("typeOfChange", text="amended"),
        dcc("replacedUniqueIdentifier", text=record.amends.record_id),
    )


def _previous(record: CalibrationRecord) -> Element | None:
    before = record.previous
    if before is None:
        return None
    name = "The record of this head before this one"
    return fingerprint("previousReport", name, before.record_id, before.sha256)


def _item(head: Head, *, simulated: bool) -> Element:
    firmware = dcc(
        "software",
        said("name", "Firmware of the head"),
        word("release", head.firmware),
        dcc("type", text="firmware"),
    )
    named = (("manufacturer", head.serial, "Serial number"), ("other", head.head_id, "Identity"))
    identifications = (
        dcc("identification", dcc("issuer", text=who), word("value", what), said("name", name))
        for who, what, name in named
    )
    return dcc(
        "item",
        said("name", "Measuring head, SIMULATED" if simulated else "Measuring head"),
        said("description", f"Condition: {head.condition}") if head.condition.strip() else None,
        dcc("installedSoftwares", firmware),
        word("model", head.model),
        dcc("identifications", *identifications),
    )


def _laboratory(record: CalibrationRecord) -> Element:
    lab = record.lab
    contact = _contact("contact", lab.name, lab.address)
    location = contact[-1]
    location.insert(0, dcc("countryCode", text=lab.country))
    return dcc("calibrationLaboratory", contact)


def _contact(name: str, who: str, *where: str) -> Element:
    """Return a contact. Addresses are lines for people, since nobody typed them in parts."""
    return dcc(name, said("name", who), dcc("location", said("further", *where)))


def _people(record: CalibrationRecord) -> Element:
    return dcc(
        "respPersons",
        _person(record.authorised_by, "authorised", signs=True),
        _person(record.performed_by, "performed", signs=False),
    )


def _person(name: str, role: str, *, signs: bool) -> Element:
    return dcc(
        "respPerson",
        dcc("person", said("name", name)),
        dcc("role", text=role),
        dcc("mainSigner", text=str(signs).lower()),
    )


def _statements(record: CalibrationRecord) -> Iterator[Element]:
    if record.simulated:
        yield _statement("Simulated", wording.SIMULATED)
    for text in said_by_certificate(record):
        yield _statement("Scope", text)
    yield _statement("Place", record.place)
    yield _statement("Deviations from the method", record.deviations)
    if record.external:
        yield _statement("Results from outside", record.external)
    if record.accreditation:
        yield _statement("Accreditation", record.accreditation)
    yield _statement("Uncertainty", wording.UNCERTAINTY)
    references = [traced(used) for used in record.references]
    if record.simulated:
        references.insert(0, wording.SIMULATED_TRACED)
    yield _statement("Traceability", *references, traceable=not record.simulated)
    if record.decision_rule is not None:
        rule = wording.RULES[record.decision_rule]
        yield _statement("Decision rule", rule, wording.DECIDED_BEFORE_ROUNDING)
    step = record.adjustment
    if not record.adjusted:
        yield _statement("Adjustment", wording.NOT_ADJUSTED)
    elif step is not None:
        yield _statement("Adjustment", f"By {step.by} at {step.at}, SHA-256 {step.sha256}.")
    if record.due_printed is not None:
        yield _statement("Next due, as agreed with the customer", day(record.due_printed))
    seal = f"The record has the SHA-256 {record.sha256}"
    keys = ", ".join(each.key_id for each in record.signatures)
    yield _statement("Integrity", f"{seal} and is signed with key {keys}.", how_to_check(record))
    yield _statement("Kind of signature", wording.SEAL)


def _statement(name: str, *texts: str, traceable: bool | None = None) -> Element:
    mark = None if traceable is None else dcc("traceable", text=str(traceable).lower())
    return dcc("statement", said("name", name), mark, said("declaration", *texts))
