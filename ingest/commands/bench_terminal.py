"""The technician's terminal: a screen that is renewed, or plain lines where there is none."""

import asyncio
import codecs
import contextlib
import os
import queue
import sys
import termios
import threading
import tty
from collections.abc import Iterator, Sequence
from typing import Protocol, TextIO

from rich.console import Console
from rich.live import Live
from rich.text import Text

LEAST_WIDTH, LEAST_HEIGHT = 40, 16
WIDTH, HEIGHT = 80, 24
LEFT = "quit"
ERASE = ("\x7f", "\x08")


class Terminal(Protocol):
    """Where lines come from and screens go to."""

    eager: bool
    """Whether a line may be taken at any time, or only when the bench waits for one."""
    ended: bool
    """Whether the bench was left because no more lines come, rather than by somebody's word."""
    brief: bool
    """Whether it wants a log of the work rather than screens."""

    @property
    def size(self) -> tuple[int, int]:
        """Columns and lines."""

    def show(self, lines: Sequence[str], changed: bool) -> None:
        """Show a screen; ``changed`` says that the work itself stands elsewhere than before."""

    def line(self) -> str | None:
        """Return a line that was typed, None while there is none; ``quit`` at the end."""


class Log:
    """A log on standard output of work that goes on by itself; nobody types anything."""

    eager = ended = False
    brief = True
    size = (WIDTH, 1000)

    def show(self, lines: Sequence[str], changed: bool) -> None:
        """Print what is new."""
        if lines:
            print("\n".join(lines), flush=True)

    def line(self) -> str | None:
        """Return nothing."""
        return None


class Plain:
    """Lines on standard output, answers from a file or a pipe: for scripts and plain printers."""

    eager = brief = False
    size = (WIDTH, 1000)

    def __init__(self, answers: TextIO) -> None:
        self.ended = False
        self._answers = answers
        self._typed: queue.Queue[str | None] = queue.Queue()
        threading.Thread(target=self._read, name="answers", daemon=True).start()

    def show(self, lines: Sequence[str], changed: bool) -> None:
        """Print a screen when the work moved on."""
        if changed:
            print("\n".join(lines), end="\n\n", flush=True)

    def line(self) -> str | None:
        """Return the next answer."""
        with contextlib.suppress(queue.Empty):
            line = self._typed.get_nowait()
            self.ended = line is None
            return LEFT if line is None else line
        return None

    def _read(self) -> None:
        for line in self._answers:
            self._typed.put(line.rstrip("\n"))
        self._typed.put(None)


class Screen:
    """A real terminal: the screen is renewed in place, the line being typed is at its end."""

    eager = True
    ended = brief = False

    def __init__(self, live: Live, console: Console) -> None:
        self._live, self._console = live, console
        self._decoder = codecs.getincrementaldecoder("utf-8")("ignore")
        self._typing = ""
        self._typed: list[str] = []
        self._ended = False

    @property
    def size(self) -> tuple[int, int]:
        """Columns and lines, never fewer than can be read."""
        width, height = self._console.size
        return max(LEAST_WIDTH, min(width, 100)), max(LEAST_HEIGHT, height)

    def show(self, lines: Sequence[str], changed: bool) -> None:
        """Renew the screen."""
        shown = "\n".join([*lines, f"> {self._typing}"])
        self._live.update(Text(shown, no_wrap=True, overflow="crop"), refresh=True)

    def line(self) -> str | None:
        """Return the next line."""
        if self._typed:
            return self._typed.pop(0)
        return LEFT if self._ended else None

    def take_keys(self) -> None:
        """Read what was typed; called when there is something."""
        try:
            data = os.read(sys.stdin.fileno(), 1024)
        except OSError:
            data = b""
        self._ended = self._ended or not data
        for key in self._decoder.decode(data):
            if key in "\r\n":
                self._typed.append(self._typing)
                self._typing = ""
            elif key in ERASE:
                self._typing = self._typing[:-1]
            elif key == "\x04":
                self._ended = True
            elif key.isprintable() and len(self._typing) < 40:
                self._typing += key


@contextlib.contextmanager
def terminal_of(script: TextIO | None, *, by_itself: bool = False) -> Iterator[Terminal]:
    """Yield the terminal that fits: a screen where both ends are one, else plain lines.

    ``by_itself``: where there is no screen a log will do, as nobody answers.
    """
    if by_itself and script is None and not sys.stdout.isatty():
        yield Log()
        return
    if script is not None or not (sys.stdin.isatty() and sys.stdout.isatty()):
        yield Plain(script or sys.stdin)
        return
    console = Console(highlight=False)
    before = termios.tcgetattr(sys.stdin)
    loop = asyncio.get_running_loop()
    with Live(console=console, screen=True, auto_refresh=False, transient=True) as live:
        screen = Screen(live, console)
        try:
            # Signals stay: Ctrl-C interrupts. Only lines are put together here.
            tty.setcbreak(sys.stdin)
            loop.add_reader(sys.stdin.fileno(), screen.take_keys)
            yield screen
        finally:
            loop.remove_reader(sys.stdin.fileno())
            termios.tcsetattr(sys.stdin, termios.TCSADRAIN, before)
