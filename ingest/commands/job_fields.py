"""The requests as arguments, from their models: what a field means is written there."""

import argparse
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, get_args

from pydantic.fields import FieldInfo

from ingest.commands.job_papers import add_papers
from ingest.core.errors import InputError
from ingest.job.course.intake import ITEMS, item_called
from ingest.payload.cmd import COMMANDS
from ingest.payload.command import Command

ASKED: Mapping[str, str] = MappingProxyType({name.removeprefix("job-"): name for name in COMMANDS})
"""Every request by the word that asks for it here."""
SUMMARIES: Mapping[str, str] = MappingProxyType(
    {
        "show": "say how the job stands, and what to do now",
        "open": "begin a job",
        "check": "say how an item of the intake is",
        "begin": "lay down the order of work",
        "wheel": "say which wheel a head is on",
        "unmount": "say that a head is on no wheel any more",
        "identify": "let a head show itself",
        "name": "give a head another name",
        "turn-begin": "begin to turn a wheel for its run-out",
        "stop-take": "take the present position of the wheel as a stop",
        "turn-end": "the turn is over; its run-out is fitted",
        "push-begin": "begin to push the vehicle, with every mounted head turned at once",
        "push-end": "the vehicle stands; the run-out of each wheel is fitted",
        "sweep-begin": "begin a steering sweep, straight ahead at first",
        "sweep-end": "the sweep is over; the steering axes are fitted",
        "done": "the task is done; what it measures is taken",
        "adjust": "begin to turn the adjuster of the task",
        "skip": "leave the task out, with a reason",
        "back": "do a task again",
        "replan": "say what cannot be done, and plan anew",
        "tape": "enter a tape distance",
        "remark": "write something down",
        "close": "finish the job, or give it up",
        "events": "have events told again on evt/job",
    }
)
IN_PLACE: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "open": ("vehicle", "limits"),
        "check": ("item", "state"),
        "wheel": ("head", "axle", "side"),
        "unmount": ("head",),
        "identify": ("head",),
        "name": ("head", "name"),
        "turn-begin": ("head",),
        "stop-take": ("head",),
        "turn-end": ("head",),
        "sweep-begin": ("axle",),
        "sweep-end": ("axle",),
        "skip": ("reason",),
        "back": ("task",),
        "replan": ("cannot",),
        "tape": ("line", "metres"),
        "remark": ("text",),
    }
)
"""Fields that are told by their place."""

BY = "who asks: this name stands in the report (default: the user at the broker, or here)"


def add_actions(parser: argparse.ArgumentParser) -> None:
    """Declare an action for each request, and ``show``."""
    actions = parser.add_subparsers(dest="action", required=True, metavar="ACTION")
    add_papers(actions)
    for name, summary in SUMMARIES.items():
        action = actions.add_parser(name, help=summary, description=f"{summary.capitalize()}.")
        if name in ASKED:
            action.add_argument("--by", default=argparse.SUPPRESS, help=BY)
            for key, info in own_fields(name).items():
                _add(action, key, info, placed=key in IN_PLACE.get(name, ()))


def own_fields(action: str) -> dict[str, FieldInfo]:
    """Return what a request has beside what every request has."""
    fields = COMMANDS[ASKED[action]].model_fields
    return {k: v for k, v in fields.items() if k not in Command.model_fields}


def fields_of(args: argparse.Namespace) -> dict[str, Any]:
    """Return the fields that were given. Raises ``InputError`` for an item that there is not."""
    given = {key: getattr(args, key, None) for key in own_fields(args.action)}
    if args.action == "check":
        given["item"] = _item(args.item)
    return {key: value for key, value in given.items() if value is not None}


def _item(name: str) -> str:
    """Return the id of an item that is meant by its id or title. Raises ``InputError``."""
    item = item_called(name)
    if item is None:
        known = ", ".join(f"{each.id} ({each.title})" for each in ITEMS)
        raise InputError("job check", None, f"no item {name!r}; there are: {known}")
    return item.id


def _add(parser: argparse.ArgumentParser, key: str, info: FieldInfo, *, placed: bool) -> None:
    kind: Any = str
    choices = None
    if info.annotation in (int, float):
        kind = info.annotation
    elif all(isinstance(word, str) for word in get_args(info.annotation) or (0,)):
        choices = get_args(info.annotation)
    told = " ".join((info.description or "").replace("``", "").split())
    if placed:
        parser.add_argument(key, type=kind, choices=choices, help=told)
        return
    needed = info.is_required() and key != "task"
    option = f"--{key.replace('_', '-')}"
    if info.annotation is bool:
        parser.add_argument(option, dest=key, action="store_true", default=None, help=told)
        return
    parser.add_argument(option, dest=key, type=kind, choices=choices, required=needed, help=told)
