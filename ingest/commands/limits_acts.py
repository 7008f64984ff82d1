"""The actions of ``levelhead limits``: each returns what is printed."""

import argparse
import json
from collections.abc import Callable
from dataclasses import replace

from ingest.commands.level import day_of
from ingest.commands.limits_shelf import Shelf, keep, read_shelf
from ingest.commands.limits_text import as_json, as_text, compared, head, summary
from ingest.commands.limits_words import (
    by_of,
    change_of,
    load_of,
    quantity_of,
    rule_of,
    side_of,
)
from ingest.commands.tables import read_text
from ingest.commands.writing import see_replaceable, write_whole
from ingest.core.errors import InputError
from ingest.job.limits.changes import (
    By,
    imported,
    narrowed,
    new_set,
    on_every_axle,
    saved_as,
    undone,
    with_figure,
    with_rule,
    without,
)
from ingest.job.limits.comparing import compare
from ingest.job.limits.limit import Key, axle_of
from ingest.job.limits.limitset import LimitSet
from ingest.payload.limits_csv import dump_figures, parse_figures
from ingest.payload.limits_file import COLUMNS, dump_limits, parse_limits
from ingest.store.shipped_limits import shipped_names


def list_sets(args: argparse.Namespace) -> str:
    """List the newest version of every set, or every version of one."""
    with read_shelf(args.state) as shelf:
        if args.name is not None:
            found = shelf.history(args.name)
            if args.json:
                return json.dumps({"versions": [as_json(each) for each in found]})
            return "\n".join(head(each) for each in found)
        sets = [(shelf.find(name), name in shipped_names()) for name in shelf.names()]
    if args.json:
        told = [{**as_json(each), "shipped": ours} for each, ours in sets]
        return json.dumps({"sets": told})
    return summary(sets)


def show(args: argparse.Namespace) -> str:
    """Show one version in full."""
    with read_shelf(args.state) as shelf:
        found = shelf.find(args.set)
    return json.dumps(as_json(found)) if args.json else as_text(found)


def compare_sets(args: argparse.Namespace) -> str:
    """Say in what the second differs from the first."""
    with read_shelf(args.state) as shelf:
        first, second = shelf.find(args.first), shelf.find(args.second)
    found = compare(first, second)
    if not args.json:
        return compared(first, second, found)
    told = [
        {
            "axle": each.key.axle,
            "quantity": each.key.quantity.value,
            "side": each.key.side,
            "load": each.key.load.value,
            "unit": each.unit,
            **{
                which: None
                if row is None
                else dict(zip(("low", "nominal", "high"), row, strict=True))
                for which, row in (("first", each.first), ("second", each.second))
            },
            "text": each.text,
        }
        for each in found.differences
    ]
    return json.dumps({"settings": found.settings, "differences": told, "same": found.same})


def new(args: argparse.Namespace) -> str:
    """Author a set from nothing."""
    made = new_set(args.name, by_of(args), note=args.note, rule=rule_of(args))
    keep(args.state, made, new=True)
    return _kept(made, args)


def save_as(args: argparse.Namespace) -> str:
    """Save a set under a new name."""
    with read_shelf(args.state) as shelf:
        made = saved_as(shelf.find(args.set), args.name, by_of(args), args.note)
    keep(args.state, made, new=True)
    return _kept(made, args)


def set_figure(args: argparse.Namespace) -> str:
    """Change, add or take out one limit, or change that of every axle."""
    by, quantity, side = by_of(args), quantity_of(args), side_of(args)
    with read_shelf(args.state) as shelf:
        base = shelf.base(args.name)
        if args.all_axles:
            made = on_every_axle(base, _chosen(args), change_of(args), by)
        else:
            key = Key(axle_of(args.axle), quantity, side, load_of(args))
            made = (
                without(base, key, by)
                if args.remove
                else with_figure(base, key, change_of(args), by)
            )
    keep(args.state, made)
    return _kept(made, args)


def change_rule(args: argparse.Namespace) -> str:
    """Change the decision rule."""
    with read_shelf(args.state) as shelf:
        made = with_rule(shelf.base(args.name), rule_of(args), by_of(args))
    keep(args.state, made)
    return _kept(made, args)


def narrow(args: argparse.Namespace) -> str:
    """Narrow every tolerance; name what has nothing to be narrowed about."""
    with read_shelf(args.state) as shelf:
        found = narrowed(shelf.base(args.name), args.factor, by_of(args))
    keep(args.state, found.limits)
    if args.json:
        return json.dumps({**as_json(found.limits), "left": [str(key) for key in found.left]})
    left = [f"left as it was, with nothing to narrow about: {key}" for key in found.left]
    return "\n".join([head(found.limits), *left])


def undo(args: argparse.Namespace) -> str:
    """Go back, as a new version."""
    with read_shelf(args.state) as shelf:
        newest = shelf.base(args.name)
        made = undone(newest, shelf.history(args.name), by_of(args), args.to)
    keep(args.state, made)
    return _kept(made, args)


def import_file(args: argparse.Namespace) -> str:
    """Keep a set from a file: wholly what it is under a new name, else as the next version."""
    where, text = read_text(args.file)
    read = _from_csv if args.csv or args.file.lower().endswith(".csv") else _from_toml
    with read_shelf(args.state) as shelf:
        made = read(args, where, text, shelf)
    if made is None:
        return json.dumps({"kept": None}) if args.json else "nothing to do: it is kept already"
    keep(args.state, made)
    return _kept(made, args)


def export(args: argparse.Namespace) -> str:
    """Write a set as TOML or its figures as CSV, to a file or to standard output."""
    with read_shelf(args.state) as shelf:
        found = shelf.find(args.set)
    as_csv = args.csv or (args.output is not None and args.output.suffix.lower() == ".csv")
    text = dump_figures(found) if as_csv else dump_limits(found)
    if args.output is None:
        return json.dumps({"text": text}) if args.json else text.removesuffix("\n")
    kind, opening = ("CSV of limits", COLUMNS[0]) if as_csv else ("file of limits", "format")
    see_replaceable(args.output, lambda start: start.startswith(opening.encode()), kind)
    write_whole(args.output, text)
    told = f"{found.version} is in {args.output}"
    return json.dumps({"file": str(args.output)}) if args.json else told


def _from_toml(args: argparse.Namespace, where: str, text: str, shelf: Shelf) -> LimitSet | None:
    """Return what to keep of a set, None where it is kept already."""
    if args.rule is not None:
        raise InputError("--rule", None, "only with a CSV; a TOML file says its own rule")
    read = parse_limits(text, where)
    day = read.date if args.on is None else day_of("--on", args.on)
    by = By(read.author if args.author is None else args.author, day)
    if args.name not in (None, read.name):
        read = saved_as(read, args.name, by)
    if args.note is not None:
        read = replace(read, note=args.note)
    history = shelf.own_history(read.name)
    if read in history:
        return None
    return imported(read, history[-1] if history else None, by)


def _from_csv(args: argparse.Namespace, where: str, text: str, shelf: Shelf) -> LimitSet | None:
    """Return what to keep of figures: rule and note are those of the set that has the name."""
    for option, given in (("--name", args.name), ("--author", args.author)):
        if given is None:
            raise InputError(option, None, "needed with a CSV, which holds the figures alone")
    by, limits = by_of(args), parse_figures(text, where)
    history = shelf.own_history(args.name)
    base = history[-1] if history else new_set(args.name, by)
    rule = base.rule if args.rule is None else rule_of(args)
    read = replace(
        base, limits=limits, rule=rule, note=base.note if args.note is None else args.note
    )
    if not history:
        return replace(read, change="imported")
    return None if read == base else imported(read, base, by)


def _chosen(args: argparse.Namespace) -> Callable[[Key], bool]:
    """Return what --all-axles is about: one quantity, and side and load where they are named."""
    if args.remove:
        raise InputError("--remove", None, "takes out one limit; name its --axle")
    quantity, side = quantity_of(args), side_of(args)
    load = None if args.load is None else load_of(args)

    def chosen(key: Key) -> bool:
        return (
            key.quantity is quantity
            and (side is None or key.side is side)
            and (load is None or key.load is load)
        )

    return chosen


def _kept(made: LimitSet, args: argparse.Namespace) -> str:
    return json.dumps(as_json(made)) if args.json else head(made)
