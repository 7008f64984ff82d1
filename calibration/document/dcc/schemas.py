"""Checking a DCC file against a set of schemas, without any network.

The schemas are somebody's own copy. What they import is looked at first: only files of the same
set are followed, whatever the XML library would do by itself.
"""

from collections.abc import Callable
from pathlib import PurePosixPath

from lxml import etree

from calibration.errors import DccRefused

ROOT = "dcc.xsd"
XSD = "{http://www.w3.org/2001/XMLSchema}"
LINKS = (f"{XSD}import", f"{XSD}include", f"{XSD}redefine")

ReadSchema = Callable[[str], bytes]
"""Gives a schema's content by its path within the set; raises ``DccRefused`` if there is none."""


class _OnlyThese(etree.Resolver):
    """Answers for the files of the set, and with nothing for any other address."""

    def __init__(self, files: dict[str, bytes]) -> None:
        super().__init__()
        self._files = files

    def resolve(self, url: str, public_id: str, context: object) -> object:  # type: ignore[override]
        # The stubs leave out the third argument, which lxml passes and needs back.
        content = self._files.get(url.removeprefix(BASE))
        if content is None:
            raise DccRefused(f"schema {url} is not in the set", "give the whole set")
        return self.resolve_string(content, context, base_url=url)


BASE = "dcc-schemas:/"
"""An address of our own making, so that no path or host can be meant by accident."""


def check_schema(content: bytes, read: ReadSchema) -> None:
    """Hold a DCC file against the schemas.

    Raises:
        DccRefused: the file breaks a rule of theirs, or they are no usable set.
    """
    files = _gather(read)
    try:
        schema = etree.XMLSchema(_parse(files[ROOT], f"{BASE}{ROOT}", files))
        schema.assertValid(_parse(content, "", {}))
    except (etree.XMLSchemaParseError, etree.XMLSyntaxError) as error:
        raise DccRefused(f"the schemas cannot be used: {error}", "give another copy") from error
    except etree.DocumentInvalid as error:
        raise DccRefused(f"not valid against {ROOT}: {error}", "report this record") from error


def _gather(read: ReadSchema) -> dict[str, bytes]:
    """Return every schema that the root leads to, by its path within the set."""
    files: dict[str, bytes] = {}
    waiting = [ROOT]
    while waiting:
        path = waiting.pop()
        if path in files:
            continue
        files[path] = read(path)
        folder = PurePosixPath(path).parent
        waiting += [str(folder / link) for link in _links(files[path], path)]
    return files


def _links(content: bytes, path: str) -> list[str]:
    try:
        root = etree.fromstring(content, _parser())
    except etree.XMLSyntaxError as error:
        raise DccRefused(f"schema {path} is no XML: {error}", "give another copy") from error
    links = [node.get("schemaLocation", "") for node in root.iter(*LINKS)]
    for link in links:
        if link and (":" in link or link.startswith("/") or ".." in PurePosixPath(link).parts):
            raise DccRefused(f"schema {path} leads out of the set, to {link}", "make it local")
    return [link for link in links if link]


def _parse(content: bytes, url: str, files: dict[str, bytes]) -> etree._Element:
    parser = _parser()
    parser.resolvers.add(_OnlyThese(files))
    return etree.fromstring(content, parser, base_url=url)


def _parser() -> etree.XMLParser:
    return etree.XMLParser(
        no_network=True, resolve_entities=False, load_dtd=False, dtd_validation=False
    )
