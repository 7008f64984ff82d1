"""The canonical form of a record (RFC 8785), its hash, and strict reading of JSON.

What two readers may take for two different things is refused: a key given twice, NaN, a number
that a double does not hold.
"""

import hashlib
import json
from collections.abc import Collection, Mapping
from typing import Any

import rfc8785

from calibration.errors import CalibrationFileError, RecordAltered
from calibration.faults import said

LARGEST = 8 * 1024 * 1024
"""Characters of a record. A full one with curves and budgets has some 300 000."""
DEEPEST = 16
"""Levels of nesting. A record has nine."""


def parse(text: str, where: str) -> dict[str, Any]:
    """Return the JSON object in ``text``; ``where`` names it in messages.

    Raises:
        CalibrationFileError: it is too large or too deep, is no JSON object, has a key twice in
            one object, or a word such as NaN for a number.
    """
    if len(text) > LARGEST:
        reason = f"unreadable: {len(text)} characters; a record has at most {LARGEST}"
        raise CalibrationFileError(where, reason)
    try:
        raw = json.loads(text, object_pairs_hook=_unique, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise CalibrationFileError(where, f"unreadable JSON: {said(error)}") from error
    if not isinstance(raw, dict):
        raise CalibrationFileError(where, "unreadable: not a JSON object")
    if _too_deep(raw, DEEPEST):
        raise CalibrationFileError(where, f"unreadable: nested deeper than {DEEPEST} levels")
    return raw


def canonical(content: Mapping[str, Any], without: Collection[str] = ()) -> bytes:
    """Return the RFC 8785 bytes of an object, some of its own keys left out.

    Raises:
        ValueError: it has no canonical form (an integer beyond 2^53, a lone surrogate).
    """
    return rfc8785.dumps({key: value for key, value in content.items() if key not in without})


def digest(content: Mapping[str, Any], without: Collection[str]) -> str:
    """Return the SHA-256 of the canonical form, in hex."""
    return hashlib.sha256(canonical(content, without)).hexdigest()


def unaltered(raw: Mapping[str, Any], where: str, unhashed: Collection[str]) -> bytes:
    """Return the RFC 8785 bytes of a sealed object whose ``sha256`` is its own.

    Args:
        where: names it in messages.
        unhashed: its keys that the hash leaves out.

    Raises:
        CalibrationFileError: it has no canonical form; as ``RecordAltered``, its hash differs.
    """
    try:
        body, found = canonical(raw), digest(raw, unhashed)
    except ValueError as error:
        raise CalibrationFileError(where, f"no canonical form: {error}") from error
    if raw.get("sha256") != found:
        raise RecordAltered(where)
    return body


def _too_deep(node: Any, left: int) -> bool:
    children = node.values() if isinstance(node, dict) else node if isinstance(node, list) else ()
    return left < 0 or any(_too_deep(child, left - 1) for child in children)


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Two readers may differ on which of two equal keys counts, so neither is taken."""
    result = dict(pairs)
    if len(result) != len(pairs):
        raise ValueError("a key is given twice")
    return result


def _no_number(word: str) -> float:
    raise ValueError(f"{word} is not a number")
