"""A document as PDF, set by typst from a template of our own.

The document goes to the template as JSON, so every text stays a value and none can be read as
markup. Nothing is fetched, and the only date in the file is the document's own: the same document
gives the same bytes.
"""

import json
from contextlib import suppress
from dataclasses import fields, is_dataclass
from datetime import UTC, date, datetime, time
from importlib.resources import files
from typing import Any, Literal

import typst

from calibration.document.blocks import Chart, Document
from calibration.document.ornament import ruler
from calibration.document.plain import printable

TEMPLATE = files("calibration.document") / "document.typ"


def render_pdf(document: Document) -> bytes:
    """Return the document as a PDF file, tagged, for keeping (PDF/A-2a, ISO 19005-2).

    Where a text has signs that typst's own fonts lack, those of the system are used too; signs
    that nobody has a font for show as boxes, and the file is then no PDF/A. Names to sign above
    stand at the foot of the first page, unless its heading alone fills more than a page.
    """
    values = {"document": json.dumps(_plain(document)), "ruler": ruler(), "foot": "first page"}
    midnight = datetime.combine(document.dated, time(), tzinfo=UTC)
    dated = int(midnight.timestamp())
    with suppress(typst.TypstError):
        return _set(values, dated, ignore_system_fonts=True, pdf_standards="a-2a")
    with suppress(typst.TypstError):
        return _set(values, dated, ignore_system_fonts=False, pdf_standards="a-2a")
    with suppress(typst.TypstError):
        return _set(values, dated, ignore_system_fonts=False, pdf_standards="1.7")
    values["foot"] = "where it comes"
    return _set(values, dated, ignore_system_fonts=False, pdf_standards="1.7")


def _set(
    values: dict[str, str],
    dated: int,
    *,
    ignore_system_fonts: bool,
    pdf_standards: Literal["a-2a", "1.7"],
) -> bytes:
    made = typst.compile(
        TEMPLATE.read_bytes(),
        sys_inputs=values,
        ignore_system_fonts=ignore_system_fonts,
        pdf_standards=pdf_standards,
        timestamp=dated,
    )
    if not isinstance(made, bytes):
        raise TypeError("typst gave no single file")
    return made


def _plain(node: Any) -> Any:
    """Return a block as JSON values; ``kind`` is the name of its class."""
    if is_dataclass(node):
        values = {f.name: getattr(node, f.name) for f in fields(node)}
        if not isinstance(node, Chart):
            return {"kind": type(node).__name__, **_plain(values)}
        drawn = values.pop("svg")  # already printable, and to be kept as it is
        return {"kind": "Chart", "svg": drawn, **_plain(values)}
    if isinstance(node, dict):
        return {key: _plain(value) for key, value in node.items()}
    if isinstance(node, (tuple, list)):
        return [_plain(value) for value in node]
    if isinstance(node, date):
        return [node.year, node.month, node.day]
    return printable(node) if isinstance(node, str) else node
