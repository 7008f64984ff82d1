"""``levelhead display``: a bay's display for the browsers of this machine, or of the workshop."""

import argparse
import contextlib
import signal
import ssl
import threading
from dataclasses import replace
from pathlib import Path

from ingest.commands.display_source import is_here, source_of
from ingest.config import load_config
from ingest.core.errors import InputError, OutputError
from ingest.display.desk import Source
from ingest.display.server import PageServer
from ingest.outputs.settings import BrokerSettings
from ingest.payload.topics import check_level

PORT = 8460


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("config", nargs="?", type=Path, help="the bay's configuration (TOML)")
    parser.add_argument("--bay", default="bay1", help="without one: which bay (default bay1)")
    parser.add_argument("--host", default="127.0.0.1", help="its broker (default this machine)")
    parser.add_argument("--port", type=int, default=1883, help="the broker's port (default 1883)")
    parser.add_argument("--papers", type=Path, metavar="DIR", help="reports and certificates there")
    parser.add_argument(
        "--listen", default="127.0.0.1", metavar="ADDRESS", help="where browsers ask (default here)"
    )
    parser.add_argument("--web-port", type=int, default=PORT, help=f"and at which port ({PORT})")
    parser.add_argument(
        "--name", action="append", default=[], help="what browsers elsewhere call this machine"
    )
    parser.add_argument("--cert", type=Path, help="certificate (PEM), to be seen from elsewhere")
    parser.add_argument("--key", type=Path, help="its private key (PEM)")


def run(args: argparse.Namespace) -> int:
    """Serve the display until Ctrl-C. Exit 2 where it cannot be."""
    server = PageServer(args.listen, args.web_port, names=args.name, tls=_tls(args))
    server.join(_source(args))
    if args.papers is not None:
        if not args.papers.is_dir():
            raise InputError(str(args.papers), None, "no such folder; make it first")
        if not is_here(args.listen):
            reason = "papers name customers and are shown to this machine alone: leave it out"
            raise InputError("--papers", None, reason)
        server.lay_out(args.papers)
    try:
        server.start()
    except OutputError as error:
        raise InputError(error.where, None, error.reason) from error
    with contextlib.ExitStack() as stack:
        stack.callback(server.stop)
        stopping = threading.Event()
        for each in (signal.SIGINT, signal.SIGTERM):
            signal.signal(each, lambda *_: stopping.set())
        print(f"levelhead display: {server.url}", flush=True)
        stopping.wait()
    return 0


def _source(args: argparse.Namespace) -> Source:
    """Return the bay that was named, by its configuration or by its broker."""
    here = is_here(args.listen)
    try:
        if args.config is None:
            broker = BrokerSettings(host=args.host, port=args.port)
            at_home = here and is_here(args.host)
            return source_of(check_level(args.bay), broker, at_home=at_home, elsewhere=not here)
        config = load_config(args.config)
        broker = config.broker
        if config.embedded is not None:
            if not here:
                reason = "the embedded broker has no users: run a broker with logins for that"
                raise InputError("--listen", None, reason)
            broker = replace(broker, host=config.embedded.host, port=config.embedded.port)
        at_home = here and config.embedded is not None
        return source_of(config.bay, broker, at_home=at_home, elsewhere=not here)
    except ValueError as error:
        raise InputError("--bay", None, str(error)) from error
    except OutputError as error:
        raise InputError(error.where, None, error.reason) from error


def _tls(args: argparse.Namespace) -> ssl.SSLContext | None:
    if args.cert is None and args.key is None:
        return None
    if args.cert is None or args.key is None:
        raise InputError("--cert", None, "--cert and --key go together")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(args.cert, args.key)
    except (OSError, ssl.SSLError) as error:
        reason = (
            f"cannot be used ({getattr(error, 'strerror', None) or 'no such pair of PEM files'})"
        )
        raise InputError(str(args.cert), None, reason) from error
    return context
