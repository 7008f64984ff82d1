"""A head's records in their order: each names the one before it by its hash.

Version 1 names none; those records stand before all others, in the order of their dates.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from calibration.errors import BadBenchData, CalibrationFileError
from calibration.records.papers import RecordLink
from calibration.records.parts import Coefficients
from calibration.records.record import CalibrationRecord
from calibration.records.text import AnyRecord


@dataclass(frozen=True, slots=True)
class Chain:
    """Records from the oldest to the newest, and a line for each thing wrong with them."""

    records: tuple[AnyRecord, ...]
    faults: tuple[str, ...]


def link_to(record: AnyRecord) -> RecordLink:
    """Return how another record names this one, which is sealed."""
    return RecordLink(record_id=record.record_id, sha256=record.sha256)


def coefficients_of(record: AnyRecord) -> Coefficients:
    """Return what a record of any version says of the head's readings."""
    if isinstance(record, CalibrationRecord):
        return record.coefficients
    return Coefficients(**{name: getattr(record, name) for name in Coefficients.model_fields})


def names_another(record: AnyRecord, record_id: str) -> bool:
    """Say whether a record follows or amends the one with this id."""
    if not isinstance(record, CalibrationRecord):
        return False
    return any(link.record_id == record_id for link in (record.previous, record.amends) if link)


def follows(previous: AnyRecord, record_id: str, on: date) -> CalibrationRecord:
    """Begin a draft that follows the head's last record: its coefficients are those of before.

    Raises:
        BadBenchData: the previous record is itself a draft, or has the same id.
        ValueError: ``record_id`` is none.
    """
    name = f"record {previous.record_id}"
    if isinstance(previous, CalibrationRecord) and not previous.signatures:
        raise BadBenchData(name, "is a draft that nobody signed", "sign it first, or go on with it")
    if previous.record_id == record_id:
        raise BadBenchData(name, "has this id already", "give the new record the next number")
    if on < previous.issued:
        raise BadBenchData(name, f"was issued on {previous.issued}", f"{on} is before that")
    in_force = coefficients_of(previous)
    return CalibrationRecord.model_validate(
        {
            "record_id": record_id,
            "head": _head_of(previous),
            "issued": on,
            "performed_from": on,
            "performed_to": on,
            "coefficients": in_force,
            "coefficients_before": in_force,
            "previous": link_to(previous),
        }
    )


def check_chain(records: Sequence[AnyRecord]) -> Chain:
    """Put a head's records in order and find gaps, forks and records of other heads.

    The oldest may name a record that is not among these.
    """
    links = _links(records)
    ordered = _ordered(records, links)
    faults = [*_strangers(ordered), *_doubles(ordered), *_forks(ordered, links)]
    issued = {record.sha256: record.issued for record in ordered}
    for record in ordered:
        link = links[record.sha256]
        if link is not None and link.sha256 in issued:
            if record.issued < issued[link.sha256]:
                faults.append(f"{record.record_id} is older than {link.record_id} before it")
        elif record is not ordered[0]:
            faults.append(_gap(record, link))
    return Chain(tuple(ordered), tuple(faults))


def chain_end(records: Sequence[AnyRecord]) -> AnyRecord | None:
    """Return a head's newest record: the end of its chain, whatever the dates in between say.

    Of records that do not hang together the newest by date counts, then the last one given.
    None when there are none.

    Raises:
        CalibrationFileError: the chain forks, and nothing says which branch counts.
    """
    links = _links(records)
    ordered = _ordered(records, links)
    named = {link.sha256 for link in links.values() if link} | _amended(ordered)
    ends = [record for record in ordered if record.sha256 not in named]
    if not ends:
        return None
    newest = max(ends, key=lambda record: (record.issued, ordered.index(record)))
    root = _root(newest, links)
    rivals = [record for record in ends if _root(record, links) == root]
    if len(rivals) > 1:
        names = " and ".join(record.record_id for record in rivals)
        reason = f"the chain forks, and both {names} end it; issue one that amends the other"
        raise CalibrationFileError(f"records of head {newest.head_id}", reason)
    return newest


Links = Mapping[str, RecordLink | None]
"""What each record follows, by its hash."""


def _links(records: Sequence[AnyRecord]) -> Links:
    """Return what each follows; those of version 1 follow each other as they are dated."""
    links: dict[str, RecordLink | None] = {}
    before: RecordLink | None = None
    for record in sorted(records, key=lambda record: record.issued):
        if isinstance(record, CalibrationRecord):
            links[record.sha256] = record.previous
        elif record.sha256 not in links:
            links[record.sha256], before = before, link_to(record)
    return links


def _ordered(records: Sequence[AnyRecord], links: Links) -> list[AnyRecord]:
    """Sort by date, but no record before the one that it names; each once."""
    waiting = list({r.sha256: r for r in sorted(records, key=lambda r: r.issued)}.values())
    ordered: list[AnyRecord] = []
    open_ = {record.sha256 for record in waiting}
    while waiting:
        ready = (r for r in waiting if _parent(r, links) not in open_)
        record = next(ready, waiting[0])
        waiting.remove(record)
        open_.remove(record.sha256)
        ordered.append(record)
    return ordered


def _parent(record: AnyRecord, links: Links) -> str | None:
    link = links[record.sha256]
    return None if link is None else link.sha256


def _root(record: AnyRecord, links: Links) -> str:
    """Return the hash with which a record's branch begins; it may be of one not at hand."""
    here, seen = record.sha256, set[str]()
    while (link := links.get(here)) is not None and here not in seen:
        seen.add(here)
        here = link.sha256
    return here


def _amended(ordered: Sequence[AnyRecord]) -> set[str]:
    return {
        record.amends.sha256
        for record in ordered
        if isinstance(record, CalibrationRecord) and record.amends is not None
    }


def _strangers(ordered: Sequence[AnyRecord]) -> list[str]:
    return [
        f"{record.record_id} is of head {record.head_id}, not {ordered[0].head_id}"
        for record in ordered
        if record.head_id != ordered[0].head_id
    ]


def _doubles(ordered: Sequence[AnyRecord]) -> list[str]:
    names = [record.record_id for record in ordered]
    often = [name for name in dict.fromkeys(names) if names.count(name) > 1]
    return [f"{name} is given {names.count(name)} times" for name in often]


def _forks(ordered: Sequence[AnyRecord], links: Links) -> list[str]:
    amended, after = _amended(ordered), dict[str, list[str]]()
    for record in ordered:
        link = links[record.sha256]
        if link is not None and record.sha256 not in amended:
            after.setdefault(link.record_id, []).append(record.record_id)
    forked = {name: found for name, found in after.items() if len(found) > 1}
    return [f"{' and '.join(found)} both follow {name}" for name, found in forked.items()]


def _gap(record: AnyRecord, link: RecordLink | None) -> str:
    if link is None:
        return f"{record.record_id} names no record before it, although there are"
    return f"{record.record_id} follows {link.record_id}, which is missing or not what it was"


def _head_of(previous: AnyRecord) -> dict[str, object]:
    if isinstance(previous, CalibrationRecord):
        return previous.head.model_copy(update={"condition": ""}).model_dump()
    return {"head_id": previous.head_id}
