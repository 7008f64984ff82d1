"""``levelhead serve``: run the measuring service until it is stopped."""

import argparse
import asyncio
import logging
import signal
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from ingest.commands.bay_opening import open_bay
from ingest.commands.host import HostSettings, keep_for_good, running_broker, running_service
from ingest.commands.job_offers import Offers
from ingest.commands.job_shop import Shop
from ingest.commands.links import make_links
from ingest.config import Config, load_config
from ingest.core.errors import ConfigError, OutputError
from ingest.service.workings import Jobs
from ingest.store.database import open_database
from ingest.store.head_names import StoredHeadNames
from ingest.store.jobs import StoredJobs

log = logging.getLogger(__name__)

EXIT_SPOILED = 1
"""The bay was served, but the capture that was asked for is not whole."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments."""
    parser.add_argument("config", type=Path, help="configuration file (TOML)")
    parser.add_argument("--verbose", action="store_true", help="tell changes of state, too")


def run(args: argparse.Namespace) -> int:
    """Serve. Exit 0 after SIGTERM or SIGINT; 2 when the configuration cannot be used."""
    return serve(load_config(args.config), capture=None, verbose=args.verbose)


def serve(config: Config, *, capture: Path | None, verbose: bool) -> int:
    """Serve until told to stop; keep all that happens in a new file, where one is named."""
    level = logging.INFO if verbose else logging.WARNING
    logging.basicConfig(level=level, format="%(asctime)s %(levelname)s %(message)s")
    # The broker library logs a traceback for what we then say in one line.
    logging.getLogger("amqtt").setLevel(logging.WARNING if verbose else logging.CRITICAL)
    logging.getLogger("transitions").setLevel(logging.WARNING)
    spoiled: list[str] = []
    asyncio.run(_serve(config, capture, spoiled.append, verbose=verbose))
    return EXIT_SPOILED if spoiled else 0


async def _serve(
    config: Config, capture: Path | None, seen: Callable[[str], None], *, verbose: bool
) -> None:
    stopping = asyncio.Event()
    loop = asyncio.get_running_loop()
    for each in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(each, stopping.set)
    connection = open_database(config.state_file)
    try:
        opened = open_bay(config, connection, datetime.now(UTC).date())
        settings = HostSettings(
            config.bay, config.embedded, config.broker, opened.service, plain=config.plain
        )
        links = make_links(config.links)
        async with running_broker(settings) as broker:
            names = StoredHeadNames(connection)
            async with running_service(
                settings,
                broker,
                links,
                names,
                opened.records,
                capture,
                config.state_file,
                seen,
                Jobs(StoredJobs(connection), Shop(connection), Offers(connection).now),
            ) as service:
                print(f"levelhead serves bay {config.bay}; {broker.where}", flush=True)
                for code, text, level in opened.remarks():
                    service.warn(code, text, level)
                    if level == "note" and not verbose:  # the log leaves it out, as no trouble
                        print(text, flush=True)
                keep_for_good()
                await stopping.wait()
    except OutputError as error:
        raise ConfigError("broker", "port", error.where, error.reason) from error
    finally:
        connection.close()
