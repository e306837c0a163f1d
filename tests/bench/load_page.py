"""Sixteen makers at once on one served page, by the browser's own protocol; prints times, losses and memory.

Each client opens the web socket that the page's script in the browser would open, reads the fields it is sent,
and changes the rows of a solid stripe again and again with a short pause between, as a person does who tries
things out.
Every client has her own blanket (16 pairs of blend rows and repeats), so no two ever ask for the same picture;
blankets have 40 to 129 rows, with `--tall` 130 to 219.

Usage: python tests/bench/load_page.py [CLIENTS] [CHANGES] [--tall]
"""

from __future__ import annotations

import argparse
import asyncio
import re
import statistics
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE.parent), str(HERE.parent.parent)]

# A person looks at a picture before she changes something again.
PAUSE_S = 5.0
# Rows of a solid stripe go from here up by 0 to 9; the warming run has 10 more, so that no measured one repeats it.
USUAL, TALL = 5, 20
SOLID, BLEND, REPEATS = "Rows of a solid stripe", "Rows of a blend stripe", "Repeats across"


@dataclass
class Client:
    """One maker: her socket, the fields she sees, and what happened."""

    number: int
    socket: Any = None
    fields: dict[str, str] = field(default_factory=dict)
    states: dict[str, Any] = field(default_factory=dict)
    to_picture: list[float] = field(default_factory=list)
    to_end: list[float] = field(default_factory=list)
    first: float = 0.0
    lost: int = 0
    rows: int = -1

    async def run(self, changed: str | None = None) -> tuple[float, float]:
        """Ask for a run and read until it has finished; return seconds to the picture and to the end."""
        from streamlit.proto.BackMsg_pb2 import BackMsg
        from streamlit.proto.ForwardMsg_pb2 import ForwardMsg

        message = BackMsg()
        for ident, state in self.states.items():
            widget = message.rerun_script.widget_states.widgets.add()
            widget.CopyFrom(state)
            widget.id = ident
        if not self.states:
            message.rerun_script.query_string = ""
        begin = time.perf_counter()
        await self.socket.send(message.SerializeToString())
        picture = 0.0
        while True:
            got = ForwardMsg()
            got.ParseFromString(await self.socket.recv())
            kind = got.WhichOneof("type")
            if kind == "delta" and got.delta.WhichOneof("type") == "new_element":
                element = got.delta.new_element
                what = element.WhichOneof("type")
                if what == "html":
                    if "data:image/jpeg" in element.html.body and not picture:
                        picture = time.perf_counter() - begin
                    rows = re.search(r"<li>(\d+) rows</li>", element.html.body)
                    if rows:
                        self.rows = int(rows[1])
                elif what == "number_input":
                    self.fields[element.number_input.label] = element.number_input.id
            elif kind == "script_finished":
                return picture, time.perf_counter() - begin

    async def change(self, rows: int, measured: bool = True) -> None:
        """Set the rows of a solid stripe and check that the page shows the blanket that follows."""
        from streamlit.proto.WidgetStates_pb2 import WidgetState

        blend = 2 + self.number % 8
        self.states[self.fields[SOLID]] = WidgetState(double_value=float(rows))
        self.states[self.fields[BLEND]] = WidgetState(double_value=float(blend))
        self.states[self.fields[REPEATS]] = WidgetState(double_value=float(7 + self.number // 8))
        picture, end = await self.run()
        if measured:
            self.to_picture.append(picture)
            self.to_end.append(end)
        # The demo has six solid stripes and five blend stripes.
        if self.rows != 6 * rows + 5 * blend:
            self.lost += 1


async def play(
    address: str, clients: int, changes: int, *, first: int = 0, least: int = USUAL, pause_s: float = PAUSE_S
) -> list[Client]:
    """Let all clients work at once; they are numbered from `first`."""
    import websockets

    async def one(client: Client) -> None:
        await asyncio.sleep(pause_s * (client.number - first) / clients)
        uri = address.replace("http", "ws") + "/_stcore/stream"
        async with websockets.connect(
            uri, subprotocols=["streamlit"], max_size=None, origin=address, ping_interval=None
        ) as client.socket:
            begin = time.perf_counter()
            await client.run()
            client.first = time.perf_counter() - begin
            await client.change(least + 10, measured=False)
            for i in range(changes):
                await asyncio.sleep(pause_s)
                await client.change(least + (client.number + 3 * i) % 10)

    crew = [Client(number=first + n) for n in range(clients)]
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


def report(clients: int = 16, changes: int = 8, *, tall: bool = False) -> list[str]:
    """Return the lines of the report."""
    from browser_page import page_server

    least = TALL if tall else USUAL
    lines = []
    with tempfile.TemporaryDirectory() as folder:
        pid: list[int] = []
        with page_server(Path(folder) / "home", pid=pid, BLENDPLAN_SERVED="1") as address:
            # Not one of the crew: nobody is to find her pictures drawn already.
            alone = asyncio.run(play(address, 1, changes, first=clients, least=least))
            before, busy = memory_mb(pid[0]), cpu_s(pid[0])
            begin = time.perf_counter()
            crew = asyncio.run(play(address, clients, changes, least=least))
            lasted = time.perf_counter() - begin
            after, busy = memory_mb(pid[0]), cpu_s(pid[0]) - busy
    pictures = sorted(t for c in crew for t in c.to_picture)
    single = statistics.median(alone[0].to_picture)
    lines.append(f"one client: change to picture {single:.3f} s median")
    lines.append(
        f"{clients} clients, {changes} changes each, {PAUSE_S:g} s apart: change to picture "
        f"{statistics.median(pictures):.3f} s median, {pictures[int(0.95 * len(pictures))]:.3f} s p95 "
        f"({statistics.median(pictures) / single:.1f} times one client)"
    )
    lines.append(
        f"the server used {busy / (clients * (changes + 2)):.3f} s of processor for each run of the page, "
        f"{100 * busy / lasted:.0f} % of one core over {lasted:.0f} s"
    )
    lines.append(f"lost or wrong states: {sum(c.lost for c in crew)} of {clients * changes}")
    lines.append(
        f"memory: {before:.0f} MB with one, {after:.0f} MB with {clients}: "
        f"{(after - before) / max(1, clients - 1):.1f} MB for each further session"
    )
    return lines


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Several makers at once on one served page.")
    parser.add_argument("clients", type=int, nargs="?", default=16)
    parser.add_argument("changes", type=int, nargs="?", default=8)
    parser.add_argument("--tall", action="store_true", help="blankets of 130 to 219 rows for everybody")
    asked = parser.parse_args()
    print("\n".join(report(asked.clients, asked.changes, tall=asked.tall)))
