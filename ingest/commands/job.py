"""``levelhead job``: lead a job from a terminal, by the same requests as any display."""

import argparse
import asyncio
import getpass
import json
import shutil
import sys
from pathlib import Path

from ingest.commands.job_fields import ASKED, BY, add_actions, fields_of, own_fields
from ingest.commands.job_papers import make
from ingest.commands.job_view import JobView
from ingest.core.errors import InputError
from ingest.outputs.listener import Listener
from ingest.outputs.settings import BrokerSettings
from ingest.payload.topics import Topics

EXIT_REFUSED = 3
PAPERS = ("list", "report", "export")
"""What is made from the store, with no service running."""
LONGEST = 32
"""Characters of a name."""
STATE_S = 3.0
"""A service that runs has said how its job stands before any display asks."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("--bay", default="bay1", help="which bay (default bay1)")
    parser.add_argument("--host", default="127.0.0.1", help="broker (default this machine)")
    parser.add_argument("--port", type=int, default=1883, help="its port (default 1883)")
    parser.add_argument("--user", help="user name at the broker: a technician's")
    parser.add_argument("--password-file", type=Path, help="file that holds the password alone")
    parser.add_argument("--by", help=BY)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    add_actions(parser)


def run(args: argparse.Namespace) -> int:
    """Ask for one thing, or show how the job stands. Exit 3 when it is refused."""
    if args.action in PAPERS:
        return make(args)
    broker = BrokerSettings(
        host=args.host, port=args.port, user=args.user, password_file=args.password_file
    )
    try:
        topics = Topics(args.bay)
    except ValueError as error:
        raise InputError("--bay", None, str(error)) from error
    return asyncio.run(_run(args, broker, topics))


def _here() -> str:
    """Return who is logged in at this machine; "" where it knows nobody."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""


async def _run(args: argparse.Namespace, broker: BrokerSettings, topics: Topics) -> int:
    view = JobView(topics)
    kinds = ("job/+", "axle/#", "vehicle/+", "head/+/status")
    wanted = [f"{topics.root}/{kind}" for kind in kinds]
    listener = Listener(broker, topics, wanted, view.hear)
    await listener.start()
    try:
        try:
            await asyncio.wait_for(view.known.wait(), STATE_S)
        except TimeoutError:
            reason = f"nothing was heard of a job of bay {topics.bay}; is the service running?"
            raise InputError(broker.where, None, reason) from None
        if args.action == "show":
            await asyncio.sleep(0.2)  # what is retained comes at once
            print(view.as_json() if args.json else view.as_text(_width()))
            return 0
        return await _ask(args, listener, view)
    finally:
        await listener.stop()


def _width() -> int | None:
    """Return the signs of a line of the terminal; None where the output goes elsewhere."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else None


async def _ask(args: argparse.Namespace, listener: Listener, view: JobView) -> int:
    fields = fields_of(args)
    if "task" in own_fields(args.action) and not fields.get("task"):
        fields["task"] = view.task
        if not view.task:
            raise InputError(f"job {args.action}", None, "no task is the present one; see job show")
    who = args.by or args.user or _here()
    if who:
        fields["by"] = who[:LONGEST]
    try:
        reply = await listener.ask(ASKED[args.action], **fields)
    except TimeoutError:
        reason = "no reply; the service is away, or this user may not ask"
        raise InputError(f"job {args.action}", None, reason) from None
    if args.json:
        print(json.dumps({"ok": reply.ok, "code": reply.code, "text": reply.text}))
    elif reply.ok:
        print(reply.text)
    else:
        print(f"levelhead job: refused: {reply.text} ({reply.code})", file=sys.stderr)
    return 0 if reply.ok else EXIT_REFUSED
