"""The ``levelhead`` command. It only lists the commands; each lives in a file of its own."""

import argparse
import importlib
import os
import sys
from typing import NoReturn

COMMANDS: dict[str, str] = {
    "serve": "run the measuring service",
    "capture": "serve, and keep all that happens in a file",
    "replay": "say again what a captured bay said",
    "demo": "do a whole alignment on simulated heads, beside the truth",
    "job": "lead a job: open, check, adjust, measure, close",
    "practice": "do a whole alignment on a simulated vehicle, with troubles to find",
    "display": "serve a bay's display to browsers",
    "watch": "show live values in the terminal",
    "ports": "list serial ports, and with --ble the heads in reach",
    "config": "check a configuration file",
    "runout": "fit the run-out of a turned wheel from a CSV file",
    "sweep": "find caster and SAI from a steering sweep in a CSV file",
    "toe": "convert a toe between degrees, minutes, mm/m, mm and inches",
    "level": "find how a bay stands: the plane through its standing points",
    "network": "find where every wheel points, from sightlines and tape distances",
    "vehicle": "check, show and keep vehicle files",
    "plan": "say in which order a vehicle is measured and set, and why",
    "correct": "say what to turn, which way and how much, for a measured value",
    "limits": "keep sets of limits: show, change, compare, import, and hold a value to them",
    "schemas": "print the JSON Schemas of the MQTT payloads and of plain files",
    "bench": "calibrate heads step by step, from the first reading to the certificate",
    "calibrate": "turn bench readings into coefficients, and a draft record",
    "verify": "hold a head to known angles: errors, budget, verdict, into a draft record",
    "gravity": "tell local gravity from latitude and height",
    "decide": "decide whether a value lies within its limits",
    "study": "analyse a study of a bay: what its mountings and technicians scatter",
    "shift-check": "check two heads on the bar before a shift",
    "affected": "list what was measured with a head since its last good check",
    "record": "check, sign and show calibration records; make keys",
    "certificate": "render a calibration record as HTML, PDF and DCC",
}

EXIT_OK = 0
EXIT_BAD_INPUT = 2
EXIT_REFUSED = 3
EXIT_INTERRUPTED = 130
EXIT_BROKEN_PIPE = 141
"""As a shell reports a program that SIGPIPE ended."""


class Parser(argparse.ArgumentParser):
    """Says what is wrong with the arguments in one line; sub-commands inherit it."""

    def error(self, message: str) -> NoReturn:
        print(f"{self.prog}: {message}; try --help", file=sys.stderr)
        sys.exit(EXIT_BAD_INPUT)


class Version(argparse.Action):
    """Prints the version, which takes its time to look up, and ends."""

    def __call__(self, *_: object) -> NoReturn:
        from importlib.metadata import version

        print(f"levelhead {version('levelhead')}")
        sys.exit(EXIT_OK)


def build_parser(wanted: str | None, *, alone: bool) -> argparse.ArgumentParser:
    """Return the parser; only the wanted command's module is imported (start-up time).

    ``alone``: the other commands are left out, since they will not be named.
    """
    parser = Parser(
        prog="levelhead", description="Measuring back end for heavy-vehicle wheel alignment."
    )
    about = "show program's version number and exit"
    parser.add_argument("--version", action=Version, nargs=0, help=about)
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, summary in COMMANDS.items():
        if alone and name != wanted:
            continue
        sub = commands.add_parser(
            name, help=summary, description=f"{summary[0].upper()}{summary[1:]}."
        )
        if name == wanted:
            module = importlib.import_module(f"ingest.commands.{name.replace('-', '_')}")
            module.add_arguments(sub)
            sub.set_defaults(run=module.run)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command. Exit code: 0 a result, 2 bad input, 3 a refused measurement."""
    argv = sys.argv[1:] if argv is None else argv
    wanted = next((word for word in argv if not word.startswith("-")), None)
    name = f"levelhead {wanted}" if wanted in COMMANDS else "levelhead"
    _open_what_is_closed()
    try:
        code = _run(argv, wanted, name)
        sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        return EXIT_INTERRUPTED
    except BrokenPipeError:
        _leave_output()  # whoever read it has left
        return EXIT_BROKEN_PIPE
    except OSError as error:
        # Files are opened, read and written where their errors are told; what is left is output,
        # or a file that somebody forgot, which has its name with it.
        reason = error.strerror or str(error)
        if error.filename is not None:
            print(f"{name}: {error.filename}: {reason}", file=sys.stderr)
            return EXIT_BAD_INPUT
        _leave_output()
        print(f"{name}: standard output: {reason}; what was printed is not all", file=sys.stderr)
        return EXIT_BAD_INPUT


def _run(argv: list[str], wanted: str | None, name: str) -> int:
    # Imported here, so that Ctrl-C while they load ends in no traceback.
    from calibration.errors import CalibrationError, ReferenceRefused
    from ingest.core.errors import IngestError, MeasurementRefused

    try:
        alone = wanted in COMMANDS and argv[0] == wanted
        args = build_parser(wanted, alone=alone).parse_args(argv)
        return int(args.run(args))
    except (MeasurementRefused, ReferenceRefused) as refused:
        print(f"{name}: refused: {refused}", file=sys.stderr)
        return EXIT_REFUSED
    except (IngestError, CalibrationError) as error:
        print(f"{name}: {error}", file=sys.stderr)
        return EXIT_BAD_INPUT


def _open_what_is_closed() -> None:
    """Let a program whose output was closed by its caller run on, as a daemon does."""
    for stream in ("stdout", "stderr"):
        if getattr(sys, stream) is None:
            setattr(sys, stream, open(os.devnull, "w"))  # noqa: SIM115  # until the end


def _leave_output() -> None:
    """See to it that what Python still holds for standard output is not tried again."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
