"""A document as one HTML file: nothing to fetch, prints well, every text escaped by lxml."""

from collections.abc import Iterable
from functools import singledispatch
from importlib.resources import files

from lxml import etree
from lxml.html import tostring

from calibration.document.blocks import (
    Block,
    Chart,
    Columns,
    Document,
    EndMark,
    Facts,
    Heading,
    NewPage,
    Notice,
    Outcome,
    Paragraph,
    People,
    Points,
    Spring,
    Table,
)
from calibration.document.ornament import ruler
from calibration.document.plain import printable

STYLE = files("calibration.document") / "document.css"
POLICY = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'"
"""Whatever the file says, a browser runs no script of it and fetches nothing."""

Element = etree._Element


def render_html(document: Document) -> str:
    """Return the document as the text of an HTML file."""
    page = _tag("html", lang=document.language)
    page.append(_head(document))
    body = _tag("body")
    page.append(body)
    if document.mark:
        body.append(_tag("div", document.mark, cls="mark", role="note"))
    main = _tag("main")
    body.append(main)
    main.append(_masthead(document))
    main.extend(_all(document.blocks))
    text: str = tostring(page, doctype="<!DOCTYPE html>", encoding="unicode")
    return text + "\n"


def _head(document: Document) -> Element:
    head = _tag("head")
    head.append(_tag("meta", charset="utf-8"))
    head.append(_tag("meta", name="viewport", content="width=device-width, initial-scale=1"))
    head.append(_tag("meta", name="date", content=document.dated.isoformat()))
    policy = _tag("meta", content=POLICY)
    policy.set("http-equiv", "Content-Security-Policy")
    head.append(policy)
    head.append(_tag("title", f"{document.title} {document.number}"))
    style = _tag("style")
    style.text = STYLE.read_text(encoding="utf-8") + _page_rule(document)
    head.append(style)
    return head


def _page_rule(document: Document) -> str:
    """Return what stands on every printed page: number, page n of m."""
    number = _css_string(printable(document.number))
    subject = _css_string(printable(document.subtitle))
    pages = 'counter(page) " of " counter(pages)'
    return (
        f"@page {{ @bottom-left {{ content: {subject} }} "
        f'@bottom-right {{ content: {number} "    Page " {pages} }} }}\n'
    )


def _css_string(text: str) -> str:
    """Return a CSS string in which nothing but letters, digits and spaces stands for itself."""
    safe = (sign if sign.isalnum() or sign in " -" else f"\\{ord(sign):x} " for sign in text)
    return f'"{"".join(safe)}"'


def _masthead(document: Document) -> Element:
    name, *address = document.issuer or ("",)
    top = _tag("div", cls="issuer")
    top.append(_tag("div", _tag("strong", name), *(_tag("span", line) for line in address)))
    top.append(_tag("div", _tag("span", "Number"), _tag("b", document.number)))
    scale = etree.fromstring(ruler().encode("utf-8"))
    scale.set("aria-hidden", "true")
    title = _tag("h1", document.title)
    return _tag("header", top, title, _tag("p", document.subtitle), scale)


@singledispatch
def _block(block: Block) -> Element:
    raise TypeError(f"no such block: {type(block).__name__}")


@_block.register
def _(block: Heading) -> Element:
    return _tag(f"h{block.level + 1}", block.text)


@_block.register
def _(block: Paragraph) -> Element:
    return _tag("p", block.text, cls=block.role)


@_block.register
def _(block: Points) -> Element:
    return _tag("ul", *(_tag("li", item) for item in block.items))


@_block.register
def _(block: Facts) -> Element:
    pairs = (_tag("div", _tag("dt", label), _tag("dd", value)) for label, value in block.items)
    return _tag("dl", *pairs)


@_block.register
def _(block: Table) -> Element:
    looks = [f"{c.align} narrow" if c.width == 0 else c.align for c in block.columns]
    titles = (
        _tag("th", column.title, cls=look, scope="col")
        for column, look in zip(block.columns, looks, strict=True)
    )
    table = _tag("table", _tag("caption", block.caption), _tag("thead", _tag("tr", *titles)))
    for rows, cls in ((block.rows, ""), (block.total, "total")):
        if rows:
            table.append(_tag("tbody", *(_row(row, looks) for row in rows), cls=cls))
    note = [_tag("p", block.note, cls="small")] if block.note else []
    return _tag("div", table, *note, cls="table")


def _row(row: Iterable[str], looks: Iterable[str]) -> Element:
    return _tag("tr", *(_tag("td", c, cls=look) for c, look in zip(row, looks, strict=True)))


@_block.register
def _(block: Chart) -> Element:
    drawing = etree.fromstring(block.svg.encode("utf-8"))
    drawing.set("aria-label", printable(block.description))
    return _tag("figure", _tag("figcaption", block.caption), drawing)


@_block.register
def _(block: Notice) -> Element:
    return _tag("aside", _tag("strong", block.title), _tag("p", block.text), cls=block.tone)


@_block.register
def _(block: Outcome) -> Element:
    cls = {True: "held", False: "failed", None: "open"}[block.held]
    return _tag("section", _tag("strong", block.word), _tag("p", block.text), cls=f"outcome {cls}")


@_block.register
def _(block: People) -> Element:
    pairs = (_tag("div", _tag("b", name), _tag("span", role)) for role, name in block.items)
    return _tag("div", *pairs, cls="people")


@_block.register
def _(block: Columns) -> Element:
    return _tag("div", *(_tag("div", *_all(cell)) for cell in block.cells), cls="columns")


@_block.register
def _(block: Spring) -> Element:
    return _tag("div", cls="spring")


@_block.register
def _(block: NewPage) -> Element:
    return _tag("hr", cls="page")


@_block.register
def _(block: EndMark) -> Element:
    return _tag("footer", block.text)


def _all(blocks: Iterable[Block]) -> list[Element]:
    return [_block(block) for block in blocks]


def _tag(name: str, /, *content: str | Element, cls: str = "", **attributes: str) -> Element:
    """Return an element of texts and elements; line feeds in a text become line breaks."""
    element = etree.Element(name)
    if cls:
        element.set("class", cls)
    for key, value in attributes.items():
        element.set(key, printable(value))
    for part in content:
        if isinstance(part, str):
            _write(element, printable(part))
        else:
            element.append(part)
    return element


def _write(element: Element, text: str) -> None:
    first, *more = text.split("\n")
    element.text = first
    for line in more:
        etree.SubElement(element, "br").tail = line
