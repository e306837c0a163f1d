"""Loaded at the start of a process under test.

Every connection beyond this machine is written down and refused; every file that is opened to be written is noted.
"""

import os
import socket
import sys
from pathlib import Path

LOG = os.environ.get("BLOCKED_LOG", "")
LOCAL = ("127.", "localhost", "::1", "0.0.0.0")


def _away(address: object) -> bool:
    host = address[0] if isinstance(address, tuple) else address
    return isinstance(host, str) and bool(host) and not host.startswith(LOCAL)


def _refuse(what: str, address: object) -> None:
    with Path(LOG).open("a", encoding="utf-8") as log:
        log.write(f"{what} {address!r}\n")
    raise OSError(f"blocked: {what} {address!r}")


if LOG:
    _connect, _connect_ex, _look_up = socket.socket.connect, socket.socket.connect_ex, socket.getaddrinfo

    def connect(self, address):
        if self.family in (socket.AF_INET, socket.AF_INET6) and _away(address):
            _refuse("connect", address)
        return _connect(self, address)

    def connect_ex(self, address):
        if self.family in (socket.AF_INET, socket.AF_INET6) and _away(address):
            _refuse("connect", address)
        return _connect_ex(self, address)

    def getaddrinfo(host, *args, **more):
        name = host.decode() if isinstance(host, bytes) else host
        if name and _away(str(name)):
            _refuse("look up", name)
        return _look_up(host, *args, **more)

    socket.socket.connect, socket.socket.connect_ex, socket.getaddrinfo = connect, connect_ex, getaddrinfo

if os.environ.get("WRITTEN_LOG"):
    _noted = os.open(os.environ["WRITTEN_LOG"], os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    _writing = os.O_WRONLY | os.O_RDWR | os.O_CREAT

    def _note_writing(event, args):
        if event == "open" and isinstance(args[0], str | bytes) and (args[2] or 0) & _writing:
            path = os.fsdecode(args[0])
            if path != os.devnull:
                os.write(_noted, f"{path}\n".encode(errors="backslashreplace"))

    sys.addaudithook(_note_writing)
