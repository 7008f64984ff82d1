"""What can go wrong while calibrating or while using a calibration. Facts are attributes."""


class CalibrationError(Exception):
    """Root of the errors of ``calibration``. ``str(error)`` is one line for a person."""


class NotEnoughRotation(CalibrationError):
    """The angles do not span enough to determine what was asked for."""

    def __init__(self, condition: float, limit: float) -> None:
        super().__init__(
            f"the angles do not determine the fit: condition number {condition:.3g}, "
            f"limit {limit:.3g}; turn further"
        )
        self.condition = condition
        self.limit = limit


class CalibrationFileError(CalibrationError):
    """A calibration record cannot be used: altered, foreign, unfit or unreadable."""

    def __init__(self, where: str, reason: str) -> None:
        super().__init__(f"{where}: {reason}")
        self.where = where
        self.reason = reason


class RecordAltered(CalibrationFileError):
    """A record's content is not what it was sealed or signed as."""

    HASH = "altered after it was sealed: its hash differs; take an unaltered copy"

    def __init__(self, where: str, reason: str = HASH) -> None:
        super().__init__(where, reason)


class RecordIncomplete(CalibrationError):
    """A record lacks what a certificate must say; ``missing`` has a reason for each."""

    def __init__(self, record_id: str, missing: tuple[str, ...]) -> None:
        super().__init__(
            f"record {record_id} cannot be signed: {'; '.join(missing)}; complete the draft first"
        )
        self.record_id = record_id
        self.missing = missing


class BadBenchData(CalibrationError):
    """Bench readings that no fit can use: what, why, and what to do."""

    def __init__(self, what: str, why: str, remedy: str) -> None:
        super().__init__(f"{what}: {why}; {remedy}")
        self.what = what
        self.why = why
        self.remedy = remedy


class ReferenceRefused(CalibrationError):
    """No result may stand on this reference: the work stops."""

    def __init__(self, reference: str, why: str, remedy: str) -> None:
        super().__init__(f"{reference} {why}; {remedy}")
        self.reference = reference
        self.why = why
        self.remedy = remedy


class DccRefused(CalibrationError):
    """A record cannot be given out as a Digital Calibration Certificate."""

    def __init__(self, why: str, remedy: str) -> None:
        super().__init__(f"no DCC: {why}; {remedy}")
        self.why = why
        self.remedy = remedy
