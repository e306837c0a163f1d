"""The command line: a thin shell over the public functions.

Each command is a module of this package with `HELP`, `add_arguments(parser)` and `run(args)`.
Only the module of the chosen command is asked to run, so heavy imports belong inside `run`.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import importlib
import io
import os
import re
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from typing import Any

from blendplan import __version__
from blendplan.cli.common import to_stderr
from blendplan.errors import BlendplanError, ProjectError
from blendplan.wording import LANGUAGES, tr

__all__ = ["main"]

COMMANDS = ("shades", "blend", "order", "ripple", "skeins", "ledger", "new", "plan", "demo", "page")

# No argument that a system hands over can hold it.
_MARK = "\0"


class _Parser(argparse.ArgumentParser):
    given: Sequence[str] | None = None

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Parse what was given, values that begin with a dash too: a yarn may be called `--x`, or `--`."""
        return super().parse_known_args(self._marked(sys.argv[1:] if args is None else args), namespace)

    def _marked(self, args: Sequence[str]) -> list[str]:
        """Return what was given with a mark before each value of an option that looks like an option itself."""
        known, values = self._option_string_actions, 0
        out: list[str] = []
        for at, arg in enumerate(args):
            if self._subparsers is not None and not arg.startswith("-"):
                # All behind the name of a command is for its own parser.
                return [*out, arg, *(_MARK + other for other in args[at + 1 :])]
            name, sign, value = arg.partition("=")
            if values and (name not in known or (sign and known[name].nargs == 0)):
                out.append(_MARK + arg if arg.startswith("-") else arg)
                values -= 1
                continue
            meant = [known[name]] if name in known else [a for o, a in known.items() if o.startswith(name) and name[2:]]
            takes = meant[0].nargs if len(meant) == 1 else 0
            values = 0 if sign else 1 if takes is None else takes if isinstance(takes, int) else 0
            out.append(f"{name}={_MARK}{value}" if sign and takes is None else arg)
        return out

    def _get_value(self, action: argparse.Action, arg_string: str) -> Any:
        return super()._get_value(action, arg_string.removeprefix(_MARK))

    def error(self, message: str) -> None:  # type: ignore[override]
        """Leave with one plain line and status 2."""
        lang = _asked_lang(sys.argv[1:] if self.given is None else self.given)
        text = " ".join(message.split())
        missing = re.fullmatch("the following arguments are required: (.+)", text)
        unknown = re.fullmatch("unrecognized arguments: (.+)", text)
        if missing:
            text = tr("what is missing: {names}", lang, names=missing[1])
        elif unknown:
            text = tr("what is not known here: {names}", lang, names=unknown[1])
        self.exit(2, tr("error: {problem}; see '{command} --help'.", lang, problem=text, command=self.prog) + "\n")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(prog="blendplan", description="Plan a two-strand striped ripple blanket.")
    parser.add_argument("--version", action="version", version=f"blendplan {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name in COMMANDS:
        module = importlib.import_module(f"blendplan.cli.{name}")
        sub = commands.add_parser(name, help=module.HELP, description=module.HELP)
        module.add_arguments(sub)
        sub.set_defaults(run=module.run)
    return parser


def _asked_lang(argv: Sequence[str]) -> str:
    """Return the language asked for, also where the rest of the line cannot be read."""
    found = re.search(r"--lang[= ](\w+)", " ".join(argv))
    return found[1] if found and found[1] in LANGUAGES else "en"


def _told(error: BlendplanError, args: argparse.Namespace) -> str:
    """Return an error's one line; its mark is the same in every language, as scripts look for it."""
    ways = args.lang, getattr(args, "units", "metric")
    return "error: " + " ".join(tr(error.template, *ways, **error.values).split())


class _Stopped(KeyboardInterrupt):
    """A Ctrl-C, or another request of the system to end."""

    # The last one of this process; none yet is 0.
    last = 0

    def __init__(self, number: int) -> None:
        self.number = _Stopped.last = number


def _stop(number: int, frame: object) -> None:
    raise _Stopped(number)


@contextlib.contextmanager
def _stoppable() -> Iterator[None]:
    """Let a signal end the command in hand as Ctrl-C does, so that it can clear up behind itself."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    stops = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {number: signal.signal(number, _stop) for number in stops}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; return 0 for good, 2 for bad input with one line on stderr, 130 after Ctrl-C."""
    # Records hold no circles, and looking for some takes half of the time that a file of thousands of yarns is read in.
    gc.set_threshold(50_000)
    if isinstance(sys.stdout, io.TextIOWrapper):
        # A name that the terminal or pipe cannot spell is escaped, as Python does on stderr.
        sys.stdout.reconfigure(errors="backslashreplace")
    _Parser.given = argv
    args = _parser().parse_args(argv)
    try:
        with _stoppable():
            status = int(args.run(args) or 0)
            sys.stdout.flush()
    except BlendplanError as error:
        to_stderr(_told(error, args))
        return 2
    except BrokenPipeError:
        # The reader of our output has gone; there is nobody left to tell.
        _drop_output()
        return 0
    except OSError as error:
        _drop_output()
        full = ProjectError(
            "what was found cannot be printed ({reason}); free some space and try again.",
            reason=error.strerror or "no reason given",
        )
        to_stderr(_told(full, args))
        return 2
    except (KeyboardInterrupt, ImportError) as stopped:
        # A library that was being loaded says in its own way that it was cut short.
        if isinstance(stopped, ImportError) and not _Stopped.last:
            raise
        to_stderr(tr("error: stopped by the keyboard; nothing was half written.", args.lang))
        return 128 + (_Stopped.last or signal.SIGINT)
    return status


def _drop_output() -> None:
    """Let what is left to print go nowhere, so that the interpreter ends in silence."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
