"""Sixteen makers at once on one served page, by the browser's own protocol; prints times, losses and memory.

Each client opens the web socket that the page's script in the browser would open, pulls a stripe of the picture to
other rows again and again with a short pause between, as a person does who tries things out, and fetches what is drawn
anew.
No stripe is pulled to the same rows twice, so that no picture is found drawn already and every pull is an edit; they
have 5 rows and more, with `--tall` 20 and more. With `--tabs` all are windows on one blanket kept on the disk, and the
history has to hold every pull.

Usage: python tests/bench/load_page.py [CLIENTS] [CHANGES] [--tall]
"""

from __future__ import annotations

import argparse
import asyncio
import itertools
import json
import statistics
import sys
import tempfile
import time
import urllib.request
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent)]

# A person looks at a picture before she changes something again.
PAUSE_S = 5.0
# Rows of a stripe go from here up by one with each pull, past what the example's stripes begin with.
USUAL, TALL = 5, 20
BEGIN_WITH = (4, 8)
# At this scale (pixels a centimetre, and of a pixel of the screen) the strips are asked for.
SCALE = "4.60,1"
STRIPES = 11


@dataclass
class Client:
    """One maker: her socket, the fields she sees, and what happened."""

    number: int
    address: str
    socket: Any = None
    ident: str = ""
    shown: dict[str, Any] = field(default_factory=dict)
    fetched: set[str] = field(default_factory=set)
    pulls: int = 0
    to_picture: list[float] = field(default_factory=list)
    to_end: list[float] = field(default_factory=list)
    first: float = 0.0
    lost: int = 0

    async def run(self, hand: dict[str, Any] | None = None) -> tuple[float, float]:
        """Ask for a run and read until it has finished; return seconds to the picture and to the end."""
        from streamlit.proto.BackMsg_pb2 import BackMsg
        from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

        message = BackMsg()
        message.rerun_script.query_string = ""
        if hand is not None:
            widget = message.rerun_script.widget_states.widgets.add()
            widget.id = f"$$STREAMLIT_INTERNAL_KEY_{self.ident}__events"
            widget.json_trigger_value = json.dumps([{"event": "hand", "value": hand}])
        begin = time.perf_counter()
        await self.socket.send(message.SerializeToString())
        picture = 0.0
        while True:
            got = ForwardMsg()
            got.ParseFromString(await self.socket.recv())
            kind = got.WhichOneof("type")
            if kind == "delta" and got.delta.WhichOneof("type") == "new_element":
                element = got.delta.new_element
                if element.WhichOneof("type") == "bidi_component" and element.bidi_component.id.endswith("-picture"):
                    self.ident = element.bidi_component.id
                    (self.shown,) = json.loads(element.bidi_component.json)
                    await asyncio.to_thread(self.fetch)
                    picture = time.perf_counter() - begin
            elif kind == "script_finished":
                return picture, time.perf_counter() - begin

    def fetch(self) -> None:
        """Fetch the strips that a browser does not have yet."""
        strips = self.shown["strips"]
        for place in {strips[stripe["own"]]["at"] for stripe in self.shown["stripes"]} - self.fetched:
            with urllib.request.urlopen(f"{self.address}{place}/{SCALE}", timeout=60) as answer:
                assert answer.read(4) == b"RIFF"
            self.fetched.add(place)

    async def change(self, at: int, rows: int, measured: bool = True) -> None:
        """Pull a stripe to other rows and check that the page shows the blanket that follows."""
        self.pulls += 1
        hand = {"mount": "hand", "n": self.pulls, "do": "rows", "id": at, "rows": rows, "seen": self.shown["seen"]}
        picture, end = await self.run(hand)
        if measured:
            self.to_picture.append(picture)
            self.to_end.append(end)
        if self.shown["stripes"][at]["rows"] != rows:
            self.lost += 1


def plan_pulls(clients: int, changes: int, least: int) -> list[list[tuple[int, int]]]:
    """Return the pulls of each client, as stripe and rows; the first is to warm up."""
    free = [iter(n for n in itertools.count(least) if n not in BEGIN_WITH) for _ in range(STRIPES)]
    stripes = [[(number + n) % STRIPES for n in range(changes + 1)] for number in range(clients)]
    return [[(at, next(free[at])) for at in hers] for hers in stripes]


async def play(address: str, pulls: list[list[tuple[int, int]]], *, pause_s: float = PAUSE_S) -> list[Client]:
    """Let all clients work at once."""
    import websockets

    async def one(client: Client) -> None:
        await asyncio.sleep(pause_s * client.number / len(pulls))
        uri = address.replace("http", "ws") + "/_stcore/stream"
        async with websockets.connect(
            uri, subprotocols=["streamlit"], max_size=None, origin=address, ping_interval=None
        ) as client.socket:
            begin = time.perf_counter()
            await client.run()
            client.first = time.perf_counter() - begin
            warm, *others = pulls[client.number]
            await client.change(*warm, measured=False)
            for pull in others:
                await asyncio.sleep(pause_s)
                await client.change(*pull)

    crew = [Client(number=n, address=address) for n in range(len(pulls))]
    await asyncio.gather(*(one(c) for c in crew))
    return crew


def memory_mb(pid: int) -> float:
    """Return the resident memory of a process and its children, MB."""
    import psutil

    process = psutil.Process(pid)
    return sum(p.memory_info().rss for p in (process, *process.children(recursive=True))) / 1e6


def cpu_s(pid: int) -> float:
    """Return the processor seconds that a process has used."""
    import psutil

    used = psutil.Process(pid).cpu_times()
    return float(used.user + used.system)


def pulls_kept(home: Path) -> int:
    """Return how many edits stand in the history of the one blanket of a library."""
    from blendplan.kept import open_library

    library = open_library(home)[0]
    try:
        return len(library.history(library.blankets()[0].id, most=10_000))
    finally:
        library.close()


def report(clients: int = 16, changes: int = 8, *, tall: bool = False, tabs: bool = False) -> list[str]:
    """Return the lines of the report; with `tabs` all of them are windows on one blanket, kept on the disk."""
    from browser_page import page_server

    pulls = plan_pulls(clients + 1, changes, TALL if tall else USUAL)
    lines = []
    with tempfile.TemporaryDirectory() as folder:
        pid: list[int] = []
        with page_server(Path(folder) / "home", pid=pid, BLENDPLAN_SERVED="" if tabs else "1") as address:
            alone = asyncio.run(play(address, pulls[clients:]))
            before, busy = memory_mb(pid[0]), cpu_s(pid[0])
            begin = time.perf_counter()
            crew = asyncio.run(play(address, pulls[:clients]))
            lasted = time.perf_counter() - begin
            after, busy = memory_mb(pid[0]), cpu_s(pid[0]) - busy
        kept = pulls_kept(Path(folder) / "home") if tabs else 0
    pictures = sorted(t for c in crew for t in c.to_picture)
    single = statistics.median(alone[0].to_picture)
    lines.append(f"one client: change to picture {single:.3f} s median")
    lines.append(
        f"{clients} {'windows on one blanket' if tabs else 'clients'}, {changes} changes each, {PAUSE_S:g} s apart: "
        "change to picture "
        f"{statistics.median(pictures):.3f} s median, {pictures[int(0.95 * len(pictures))]:.3f} s p95 "
        f"({statistics.median(pictures) / single:.1f} times one client)"
    )
    lines.append(
        f"the server used {busy / (clients * (changes + 2)):.3f} s of processor for each run of the page, "
        f"{100 * busy / lasted:.0f} % of one core over {lasted:.0f} s"
    )
    wrong = sum(c.lost for c in crew)
    if tabs:
        # Another window may have pulled the same stripe before this one was drawn: then its rows are shown.
        lines.append(f"pulls in the history: {kept} of {(clients + 1) * (changes + 1)}; shown with another's: {wrong}")
    else:
        lines.append(f"lost or wrong states: {wrong} of {clients * (changes + 1)}")
    lines.append(
        f"memory: {before:.0f} MB with one, {after:.0f} MB with {clients}: "
        f"{(after - before) / max(1, clients - 1):.1f} MB for each further session"
    )
    return lines


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Several makers at once on one served page.")
    parser.add_argument("clients", type=int, nargs="?", default=16)
    parser.add_argument("changes", type=int, nargs="?", default=8)
    parser.add_argument("--tabs", action="store_true", help="windows on one blanket instead of strangers")
    parser.add_argument("--tall", action="store_true", help="stripes of 20 to 29 rows for everybody")
    asked = parser.parse_args()
    print("\n".join(report(asked.clients, asked.changes, tall=asked.tall, tabs=asked.tabs)))
