"""The small parts that a DCC is made of: texts, quantities, lists of quantities.

Names and order of elements follow dcc.xsd 3.3.0 and SI_Format.xsd 2.2.0. Texts are escaped by
lxml, and what XML has no place for is replaced.
"""

from collections.abc import Sequence

from lxml import etree

from calibration.document.plain import printable
from calibration.errors import DccRefused
from calibration.reporting import P
from calibration.units import Unit

DCC = "https://ptb.de/dcc"
SI = "https://ptb.de/si"
LANGUAGE = "en"
SHA256 = "SHA-256"

Element = etree._Element

D_SI = {
    Unit.DEGREE: r"\degree",
    Unit.MILLIMETRE: r"\milli\metre",
    Unit.MILLIMETRE_PER_METRE: r"\milli\metre\metre\tothe{-1}",
    Unit.CELSIUS: r"\degreecelsius",
    Unit.SECOND: r"\second",
    Unit.PERCENT: r"\percent",
    Unit.ONE: r"\one",
}
"""SI brochure units as D-SI writes them. The inch has no form there."""


def si_unit(unit: str) -> str:
    """Return a unit as D-SI writes it. Raises ``DccRefused`` for one that it has no form of."""
    known = {str(each): form for each, form in D_SI.items()}
    if unit not in known:
        raise DccRefused(f"the unit {unit} has no form in the D-SI", "report in SI units")
    return known[unit]


def dcc(name: str, *children: Element | None, text: str | None = None, ref: str = "") -> Element:
    """Return a ``dcc:`` element; children that are None are left out."""
    return _element(DCC, name, children, text, ref)


def si(name: str, *children: Element | None, text: str | None = None) -> Element:
    """Return an ``si:`` element."""
    return _element(SI, name, children, text, "")


def said(name: str, *texts: str) -> Element:
    """Return texts for people: ``dcc:textType`` or ``dcc:richContentType``."""
    contents = (dcc("content", text=text) for text in texts if text.strip())
    element = dcc(name, *contents)
    for content in element:
        content.set("lang", LANGUAGE)
    return element


def word(name: str, text: str) -> Element | None:
    """Return an element of the schema's not-empty text; None where there is nothing to say."""
    joined = " ".join(printable(text).split())
    return dcc(name, text=joined) if joined else None


def real(value: str, unit: str, U: str | None = None, k: str | None = None) -> Element:  # noqa: N803
    """Return one value, with its expanded uncertainty where there is one."""
    known = None
    if U is not None and k is not None:
        known = si(
            "measurementUncertaintyUnivariate",
            si(
                "expandedMU",
                si("valueExpandedMU", text=U),
                si("coverageFactor", text=k),
                si("coverageProbability", text=str(P)),
            ),
        )
    return si("real", si("value", text=value), si("unit", text=si_unit(unit)), known)


def reals(
    values: Sequence[str],
    units: Sequence[str],
    U: Sequence[str] = (),  # noqa: N803
    k: Sequence[str] = (),
) -> Element:
    """Return values of one list, each with its own unit and, where given, its own U and k."""
    known = None
    if U:
        known = si(
            "measurementUncertaintyUnivariateXMLList",
            si(
                "expandedMUXMLList",
                si("valueExpandedMUXMLList", text=" ".join(U)),
                si("coverageFactorXMLList", text=" ".join(k)),
                si("coverageProbabilityXMLList", text=" ".join([str(P)] * len(U))),
            ),
        )
    return si(
        "realListXMLList",
        si("valueXMLList", text=" ".join(values)),
        si("unitXMLList", text=" ".join(map(si_unit, units))),
        known,
    )


def quantity(name: str, content: Element, *details: Element | None, ref: str = "") -> Element:
    """Return a named quantity."""
    return dcc("quantity", said("name", name), content, *details, ref=ref)


def fingerprint(name: str, referral: str, number: str, sha256: str, *rest: Element) -> Element:
    """Return a reference to another document by its hash (``dcc:hashType``)."""
    return dcc(
        name,
        said("referral", referral),
        word("referralID", number),
        dcc("procedure", text=SHA256),
        dcc("value", text=sha256),
        *rest,
    )


def _element(
    space: str, name: str, children: Sequence[Element | None], text: str | None, ref: str
) -> Element:
    element = etree.Element(f"{{{space}}}{name}")
    element.extend([child for child in children if child is not None])
    if text is not None:
        element.text = printable(text)
    if ref:
        element.set("refType", ref)
    return element
