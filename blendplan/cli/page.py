"""`blendplan page`: the page on this machine."""

from __future__ import annotations

import argparse

from blendplan.cli.common import add_lang

HELP = "open the page on this machine (127.0.0.1)"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument("--port", type=int, default=8501, metavar="N", help="port on 127.0.0.1 (default 8501)")
    parser.add_argument("--no-browser", action="store_true", help="only print the address")
    parser.add_argument(
        "--served-as",
        default="",
        metavar="HOST[/PATH]",
        help="public name behind a reverse proxy on this machine; nothing is then kept on the disk",
    )
    parser.add_argument(
        "--at-home",
        nargs="?",
        const="",
        default=None,
        metavar="ADDRESS",
        help="listen on the home network too, for your phone, behind a code; not encrypted, so only where you trust it",
    )
    add_lang(parser)


def run(args: argparse.Namespace) -> int:
    """Start the page and stay until it is stopped."""
    from blendplan.page.serve import serve

    return serve(
        args.port,
        open_browser=not args.no_browser,
        served_as=args.served_as,
        at_home=args.at_home,
        lang=args.lang,
    )
