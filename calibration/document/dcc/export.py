"""From a signed calibration record to a DCC file."""

from lxml import etree

from calibration.document.dcc.administrative import administrative
from calibration.document.dcc.elements import DCC, SI
from calibration.document.dcc.measurement import measured
from calibration.errors import DccRefused
from calibration.records.complete import missing_for_certificate
from calibration.records.record import CalibrationRecord

SCHEMA_VERSION = "3.3.0"


def render_dcc(record: CalibrationRecord) -> bytes:
    """Return the record as the bytes of a DCC 3.3.0 file.

    Raises:
        DccRefused: the record is a draft or incomplete, or uses a unit that the D-SI lacks. A
            machine that reads the file has no eyes for the word DRAFT.
    """
    if not record.signatures:
        raise DccRefused(f"{record.record_id} is a draft", "sign it first")
    missing = missing_for_certificate(record)
    if missing:
        raise DccRefused(f"{record.record_id} lacks {missing[0]}", "complete and sign it anew")
    root = etree.fromstring(
        f'<dcc:digitalCalibrationCertificate xmlns:dcc="{DCC}" xmlns:si="{SI}"/>'
    )
    root.set("schemaVersion", SCHEMA_VERSION)
    root.extend([administrative(record), measured(record)])
    etree.cleanup_namespaces(root)
    made: bytes = etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)
    return made
