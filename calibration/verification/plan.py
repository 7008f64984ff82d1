"""What a sheet settles before a verification: references, class, rule and set-up.

The rule and the limits are fixed before anything is measured (ISO/IEC 17025:2017, 7.8.6), so
the second run of a record is judged as the first was.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calibration.decision import Rule
from calibration.errors import CalibrationFileError
from calibration.records.record import CalibrationRecord
from calibration.toml import NotToml, parse_toml
from calibration.verification.head_class import (
    BUILT_IN,
    HeadClass,
    head_class_named,
    parse_head_class,
)
from calibration.verification.setup import Setup


@dataclass(frozen=True, slots=True)
class Plan:
    """``references`` are ids of the register; None: all of it."""

    references: tuple[str, ...] | None
    head_class: HeadClass
    rule: Rule
    setup: Setup


def plan_of(text: str | None, where: str, draft: CalibrationRecord, when: str) -> Plan:
    """Return the plan of a sheet (TOML text); what it leaves open is taken from the draft.

    Keys: ``references`` (ids), ``head_class`` (a name, or a table of limits with a name),
    ``decision_rule``, and a table ``setup`` with ``warmer_k`` and ``alignment_deg``. Other keys
    belong to other work and are left alone.

    Raises:
        CalibrationFileError: a value that cannot be, no class at all, or another class or rule
            than the record's other run was judged by.
    """
    sheet = {} if text is None else _toml(text, where)
    ids = sheet.get("references")
    if ids is not None and not (isinstance(ids, list) and all(isinstance(i, str) for i in ids)):
        raise CalibrationFileError(where, "references is no list of ids from the register")
    plan = Plan(
        references=None if ids is None else tuple(dict.fromkeys(ids)),
        head_class=_class(sheet.get("head_class"), draft.head_class, where),
        rule=_rule(sheet.get("decision_rule", draft.decision_rule), where),
        setup=_setup(sheet.get("setup", {}), where),
    )
    _check_fixed(plan, draft, when, where)
    return plan


def _toml(text: str, where: str) -> dict[str, Any]:
    try:
        return parse_toml(text)
    except NotToml as error:
        raise CalibrationFileError(where, str(error)) from error


def _class(wanted: Any, drafted: str, where: str) -> HeadClass:
    if isinstance(wanted, Mapping):
        return parse_head_class(wanted, where)
    name = drafted if wanted is None else wanted
    if not isinstance(name, str) or not name:
        reason = f"no head_class; name one in the sheet, such as {next(iter(BUILT_IN))}"
        raise CalibrationFileError(where, reason)
    return head_class_named(name, where)


def _rule(wanted: Any, where: str) -> Rule:
    try:
        return Rule.GUARD_U_4 if wanted is None else Rule(wanted)
    except ValueError:
        reason = f"decision_rule is {wanted!r}; one of {', '.join(Rule)} is needed"
        raise CalibrationFileError(where, reason) from None


def _setup(table: Any, where: str) -> Setup:
    known = ("warmer_k", "alignment_deg")
    if not isinstance(table, Mapping) or not set(table) <= set(known):
        raise CalibrationFileError(where, f"setup is no table of {' and '.join(known)}")
    for name, size in table.items():
        number = isinstance(size, int | float) and not isinstance(size, bool)
        if not (number and math.isfinite(size) and size >= 0):
            raise CalibrationFileError(where, f"setup: {name} = {size!r} is no size")
    return Setup(**{name: float(size) for name, size in table.items()})


def _check_fixed(plan: Plan, draft: CalibrationRecord, when: str, where: str) -> None:
    other = draft.as_left if when == "found" else draft.as_found
    if other is None or not other.verdicts:
        return
    for what, fixed, now in (
        ("decision_rule", draft.decision_rule, plan.rule),
        ("head_class", draft.head_class, plan.head_class.name),
    ):
        if fixed != now:
            reason = f"{what} is {now}, and the record's other run was judged by {fixed}"
            raise CalibrationFileError(where, f"{reason}; keep to one")
