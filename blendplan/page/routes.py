"""What the page's server answers besides the page: pictures and papers by address, and the page beside the work.

How it serves stands here too: under which names, and the phone's way in.
"""

from __future__ import annotations

import base64
import hashlib
import html
import json
import os
import re
import secrets
import threading
import time
import weakref
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from blendplan.blanket import Blanket, Ways
from blendplan.edits import edit_between
from blendplan.errors import BlendplanError, ProjectError
from blendplan.kept import Library, library_at_home
from blendplan.lasting import answer, weigh
from blendplan.page.edits import change_making, count_row, note_row
from blendplan.quantities import out_of_units
from blendplan.units import exact
from blendplan.wording import LANGUAGES, capital, tr
from blendplan.workspace import entries_of, plan_of, work_of
from blendplan.yardage.making import Making

ASSETS = Path(__file__).parent / "assets"
# Nothing that is handed out may run as a page of this server, and nobody is told where it was asked from.
STILL = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox",
}


# 31 letters and figures that nobody mistakes; 26 of them are 128.8 bits.
LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"
LENGTH = 26
# Seconds to wait after one, two, and any more wrong codes; of so many asking machines.
WAITS = (2, 4, 8)
WAITERS = 256


class WayIn:
    """The phone's way in: a code, and the token that a phone which knew it carries; both die with the process."""

    def __init__(self, place: str, clock: Callable[[], float] = time.monotonic) -> None:
        self.place = place
        self.came: float | None = None
        self._clock = clock
        self._wrong: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self.code = self._token = ""
        self.renew()

    def renew(self) -> None:
        """Make a new code; every phone must come again."""
        self.code = "".join(secrets.choice(LETTERS) for _ in range(LENGTH))
        self._token, self.came = secrets.token_urlsafe(32), None
        self._wrong.clear()

    def stop(self) -> None:
        """Let nobody in any more."""
        self.code = self._token = ""
        self.came = None

    @property
    def token(self) -> str:
        """What a phone carries that was let in."""
        return self._token

    @property
    def link(self) -> str:
        """The address with the code in it, for the square."""
        return f"http://{self.place}/in/{self.code}"

    @property
    def said(self) -> str:
        """The code as it is read aloud, in fours."""
        return " ".join(self.code[at : at + 4] for at in range(0, LENGTH, 4))

    @property
    def came_at(self) -> str:
        """When a phone last came in, local time; empty where none did."""
        return time.strftime("%H:%M", time.localtime(self.came)) if self.came else ""

    def knows(self, token: str) -> bool:
        """Return whether a token is the one given to phones."""
        return bool(self._token) and secrets.compare_digest(token.encode(), self._token.encode())

    def try_code(self, who: str, typed: str) -> float:
        """Return 0 where the code is right, else the seconds that this machine has to wait; while it waits, too."""
        tries, until = self._wrong.get(who, (0, 0.0))
        if self._clock() < until:
            return until - self._clock()
        given = re.sub(r"[^a-z0-9]", "", typed.lower())
        if self.code and secrets.compare_digest(given.encode(), self.code.encode()):
            self._wrong.pop(who, None)
            self.came = time.time()
            return 0.0
        wait = WAITS[min(tries, len(WAITS) - 1)]
        self._wrong[who] = (tries + 1, self._clock() + wait)
        self._wrong.move_to_end(who)
        while len(self._wrong) > WAITERS:
            self._wrong.popitem(last=False)
        return float(wait)


@dataclass(slots=True)
class Served:
    """How this process serves the page: the path it stands under (None: not by our own server), and the way in."""

    base: str | None = None
    way: WayIn | None = None
    hosts: frozenset[str] = field(default_factory=frozenset)


SERVED = Served()


def served() -> bool:
    """Return whether the page is served to others, where nothing is kept on the machine's disk."""
    return os.environ.get("BLENDPLAN_SERVED", "") not in ("", "0")


def asked_language(accepts: str) -> str:
    """Return the first language of a browser's list that the page speaks, else English."""
    wanted = [part.split(";")[0].strip()[:2].lower() for part in accepts.split(",")]
    return next((code for code in wanted if code in LANGUAGES), "en")


# ---- pictures and papers

# Bytes of pictures and papers kept to be fetched, of all windows together (assumed: a blanket is shown by 11 to 30
# strips of 20 to 120 kB at two or three distances, some 8 MB; a browser keeps what it has fetched).
BUDGET = 128 * 2**20
MEDIA = {
    "png": "image/png",
    "jpeg": "image/jpeg",
    "webp": "image/webp",
    "svg": "image/svg+xml",
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "zip": "application/zip",
}


class Handed:
    """Bytes handed out under a digest; those used last are kept, within a budget of bytes."""

    def __init__(self, budget: int = BUDGET) -> None:
        self.budget, self.held = budget, 0
        self._kept: OrderedDict[str, bytes] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, data: bytes) -> str:
        """Keep bytes, and return their digest of 128 bits."""
        digest = hashlib.blake2b(data, digest_size=16).hexdigest()
        self.keep(digest, data)
        return digest

    def keep(self, digest: str, data: bytes) -> None:
        """Keep bytes under a digest of what they are made from."""
        with self._lock:
            if digest not in self._kept:
                self._kept[digest] = data
                self.held += len(data)
            self._kept.move_to_end(digest)
            while self.held > self.budget and len(self._kept) > 1:
                self.held -= len(self._kept.popitem(last=False)[1])

    def get(self, digest: str) -> bytes | None:
        """Return bytes that were handed out."""
        with self._lock:
            found = self._kept.get(digest)
            if found is not None:
                self._kept.move_to_end(digest)
        return found


HANDED = Handed()


def address(data: bytes, kind: str = "png") -> str:
    """Return the address of a picture, of a kind in `MEDIA`; the data itself where our own server does not run."""
    if SERVED.base is None:
        media = MEDIA[kind].replace("; ", ";")
        return f"data:{media};base64,{base64.b64encode(data).decode('ascii')}"
    return f"{SERVED.base}/picture/{HANDED.put(data)}.{kind}"


def _for_good(data: bytes | None, kind: str) -> Response:
    """Answer with what a browser keeps for good, or that there is nothing."""
    if not data:
        return Response(status_code=404, headers=STILL)
    headers = {**STILL, "Cache-Control": "private, max-age=31536000, immutable"}
    return Response(data, media_type=MEDIA[kind], headers=headers)


async def _picture(request: Request) -> Response:
    digest, _, kind = request.path_params["name"].partition(".")
    return _for_good(HANDED.get(digest) if kind in MEDIA else None, kind)


# What can be made when it is asked for, by the digest of what it is made from; as many as a few windows show.
MOST_LATER = 6000
LATER: OrderedDict[str, tuple[Callable[[str], bytes], str]] = OrderedDict()
_later_lock = threading.Lock()
# Drawings side by side only take the processor from each other.
_DRAWN_AT_ONCE = 2
_HOW = re.compile(r"[0-9a-z.,-]{1,60}")


def address_later(made_from: object, make: Callable[[str], bytes], kind: str = "png") -> str:
    """Return the address under which something is made once it is asked for; empty without our own server.

    Parameters
    ----------
    made_from : object
        All that it depends on, with a repr that tells all of it.
    make : callable
        Gets what stands behind the address, as "/4.4" gives "4.4"; raises ValueError where that cannot be.
    kind : str
        One of `MEDIA`.
    """
    if SERVED.base is None:
        return ""
    digest = hashlib.blake2b(f"{kind}{made_from!r}".encode(), digest_size=16).hexdigest()
    with _later_lock:
        LATER[digest] = (make, kind)
        LATER.move_to_end(digest)
        while len(LATER) > MOST_LATER:
            LATER.popitem(last=False)
    return f"{SERVED.base}/later/{digest}"


@cache
def _drawing() -> Any:
    import anyio

    return anyio.CapacityLimiter(_DRAWN_AT_ONCE)


async def _later(request: Request) -> Response:
    import anyio.to_thread

    digest, how = request.path_params["digest"], request.path_params["how"]
    with _later_lock:
        make, kind = LATER.get(digest, (None, ""))
    if make is None or not _HOW.fullmatch(how):
        return _for_good(None, kind)
    data = HANDED.get(f"{digest}/{how}")
    if data is None:
        try:
            data = await anyio.to_thread.run_sync(make, how, limiter=_drawing())
        except (BlendplanError, ValueError):
            return _for_good(None, kind)
        HANDED.keep(f"{digest}/{how}", data)
    return _for_good(data, kind)


# ---- beside the work

# Libraries of windows that keep theirs in memory alone, by the token that names them in an address.
_APART: weakref.WeakValueDictionary[str, Library] = weakref.WeakValueDictionary()
_MOST_PRESSES, _LONGEST_BODY = 200, 300_000


def work_address(library: Library, number: int) -> str:
    """Return the address of the page beside the work; empty where our own server does not run."""
    if SERVED.base is None or not number:
        return ""
    if library.folder is not None:
        return f"{SERVED.base}/work/own-{number}"
    name = next((name for name, kept in _APART.items() if kept is library), "") or secrets.token_hex(16)
    _APART[name] = library
    return f"{SERVED.base}/work/{name}-{number}"


def _found(where: str) -> tuple[Library, int] | None:
    """Return the library and the number that an address names, None where there is no such blanket (any more)."""
    named = re.fullmatch(r"(own|[0-9a-f]{32})-(\d{1,18})", where)
    if named is None or (named[1] == "own" and served()):
        return None
    library = library_at_home() if named[1] == "own" else _APART.get(named[1])
    number = int(named[2])
    return (library, number) if library is not None and library.revision(number) else None


@lru_cache(maxsize=64)
def blanket_of(library: Library, number: int, revision: int) -> Blanket | None:
    """Return the blanket of a number in a library as it stood at a revision."""
    return library.read(number, work_of).now.blanket


@lru_cache(maxsize=32)
def _shown(blanket: Blanket, lang: str) -> dict[str, Any]:
    from blendplan.outputs.beside import beside

    return beside(plan_of(blanket), lang)


def beside_now(library: Library, number: int, accepts: str = "") -> dict[str, Any] | None:
    """Return what the page beside the work shows of a blanket; None where there is none that can be worked."""
    blanket = blanket_of(library, number, library.revision(number))
    if blanket is None:
        return None
    try:
        lang = blanket.ways.language or asked_language(accepts)
        shown = _shown(change_making(blanket, rows_done=0), lang)
    except BlendplanError:
        return None
    return {**shown, "rows_done": min(blanket.making.rows_done, shown["rows"]), "blanket": str(number)}


def work_page(shown: dict[str, Any]) -> str:
    """Return the page beside the work as one HTML document: all it shows and does is inside."""
    script, style = (
        (ASSETS / name).read_text(encoding="utf-8").replace("</", "<\\/") for name in ("work.js", "work.css")
    )
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode("ascii")
    fields = {
        "lang": shown["lang"],
        "title": html.escape(shown["title"]),
        "policy": f"default-src 'none'; style-src 'unsafe-inline'; script-src 'sha256-{digest}'; "
        "img-src 'self' data:; connect-src 'self'; base-uri 'none'; form-action 'none'",
        "style": style,
        "script": script,
        "data": json.dumps(shown, ensure_ascii=True, separators=(",", ":")).replace("<", "\\u003c"),
    }
    page = (ASSETS / "work.html").read_text(encoding="utf-8")
    return re.sub(r"\{\{(\w+)\}\}", lambda found: fields[found[1]], page)


def rows_along(library: Library, number: int, accepts: str = "") -> bytes:
    """Return the rows to take along: one file that shows and counts by itself, and gives back what was counted."""
    from blendplan.text import download_name

    shown = beside_now(library, number, accepts)
    if shown is None:
        raise ProjectError("there is no blanket to work yet; draw one first.")
    picture = base64.b64encode(_picture_of(library, number)).decode("ascii")
    desk = f"http://{SERVED.way.place}{work_address(library, number)}" if SERVED.way is not None else ""
    along = {"picture": f"data:image/webp;base64,{picture}", "desk": desk}
    file = download_name(f"{shown['title']} {tr('counted', shown['lang'])}", "json")
    return work_page({**shown, **along, "place": None, "file": file}).encode("utf-8")


def _picture_of(library: Library, number: int) -> bytes:
    blanket = blanket_of(library, number, library.revision(number))
    return b"" if blanket is None else _drawn(replace(blanket, making=Making(), ways=Ways()))


@lru_cache(maxsize=16)
def _drawn(blanket: Blanket) -> bytes:
    from blendplan.outputs.render import plan_cutout
    from blendplan.picture.canvas import encode_webp

    return encode_webp(plan_cutout(plan_of(blanket), (660, 800)))


def hear(library: Library, number: int, hand: str, presses: Sequence[dict[str, Any]]) -> list[BlendplanError]:
    """Take what was counted, noted and weighed beside the work; return why something was not taken.

    A row counts once, whoever says so; a press that was handed over before is not heard again.
    """
    wrong: list[BlendplanError] = []
    # The last press heard of each hand on each blanket is kept, so that a file given back next week is heard once too.
    remembered = f"heard {number} {hand}"

    def take() -> None:
        wrong.clear()
        heard = int(library.said(remembered) or 0)
        for press in presses:
            if press["seq"] <= heard:
                continue
            heard = press["seq"]
            work = library.read(number, work_of).now
            if work.blanket is None:
                continue
            try:
                made = replace(work, blanket=_pressed(work.blanket, press))
            except BlendplanError as error:
                wrong.append(error)
                continue
            edit = edit_between(entries_of(work), entries_of(made))
            library.edit(number, edit, hand, work_of, counted=press["kind"] in ("done", "back"))
        library.say(remembered, str(heard))

    library.pressed(take)
    return wrong


def _pressed(blanket: Blanket, press: dict[str, Any]) -> Blanket:
    from blendplan.plan import ledger_of

    kind = press["kind"]
    if kind in ("done", "back"):
        return count_row(blanket, press["row"], plan_of(blanket).rows, back=kind == "back")
    if kind == "note":
        return note_row(blanket, press["row"], press["text"])
    if kind == "weigh":
        grams = out_of_units(exact(press["grams"], "grams left"), "g", blanket.ways.units)
        return weigh(blanket, press["key"], grams, press["unopened"], date=press["at"][:19].replace("T", " "))
    asked = [
        d for d in ledger_of(plan_of(blanket)).doubts if (d.weighing, d.name) == (press["weighing"], press["name"])
    ]
    return answer(blanket, asked[0], press["said"]) if asked else blanket


_FIELDS: dict[str, dict[str, type | tuple[type, ...]]] = {
    "done": {"row": int},
    "back": {"row": int},
    "note": {"row": int, "text": str},
    "weigh": {"key": str, "grams": str, "unopened": (int, type(None))},
    "answer": {"weighing": int, "name": str, "said": str},
}


def read_presses(body: bytes) -> tuple[str, list[dict[str, Any]], str]:
    """Return the hand, the presses, and the number of the blanket, where it is named, that were handed over.

    Raises
    ------
    ProjectError
        If it cannot be read.
    """
    refusal = ProjectError("what was counted cannot be read; save it again on the phone and give that file.")
    try:
        given = json.loads(body)
        hand, presses = given["hand"], given["presses"]
        fine = re.fullmatch(r"(phone|desk)-[a-z0-9]{4,20}", hand) and len(presses) <= 100 * _MOST_PRESSES
        for press in presses:
            fields = {"seq": int, "at": str, **_FIELDS[press["kind"]]}
            fine = fine and all(isinstance(press[name], kind) for name, kind in fields.items())
            fine = fine and 0 < press["seq"] < 2**50 and press.get("said", "kept") in ("kept", "back")
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise refusal from None
    if not fine:
        raise refusal
    return hand, presses, str(given.get("blanket", ""))


def _json(told: dict[str, Any], status: int = 200) -> Response:
    headers = {"Cache-Control": "no-store", **STILL}
    return Response(json.dumps(told), status_code=status, headers=headers, media_type="application/json")


def _work(request: Request) -> Response:
    where = request.path_params["where"]
    found = _found(where)
    shown = beside_now(*found, request.headers.get("accept-language", "")) if found else None
    if shown is None:
        return RedirectResponse(f"{SERVED.base}/", status_code=303)
    return HTMLResponse(work_page(_placed(shown, where)), headers={"Cache-Control": "no-store", **_OWN})


_OWN = {"X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin", "X-Frame-Options": "DENY"}


def _placed(shown: dict[str, Any], where: str) -> dict[str, Any]:
    at = f"{SERVED.base}/work/{where}"
    place = {"at": where, "base": at, "home": f"{SERVED.base}/?at="}
    return {**shown, "place": place, "picture": f"{at}/picture?of={shown['of']}"}


def _now(found: tuple[Library, int], request: Request, more: dict[str, Any] | None = None, of: str = "") -> Response:
    shown = beside_now(*found, request.headers.get("accept-language", ""))
    if shown is None:
        return _json({}, 404)
    told = {"rows_done": shown["rows_done"], **(more or {})}
    if shown["of"] != of:
        told["data"] = _placed(shown, request.path_params["where"])
    return _json(told)


def _work_now(request: Request) -> Response:
    found = _found(request.path_params["where"])
    return _now(found, request, of=request.query_params.get("of", "")) if found else _json({}, 404)


async def _work_presses(request: Request) -> Response:
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _LONGEST_BODY:
            return _json({}, 413)
    return await run_in_threadpool(_heard, request, body)


def _heard(request: Request, body: bytes) -> Response:
    found = _found(request.path_params["where"])
    if found is None:
        return _json({}, 404)
    try:
        hand, presses, _ = read_presses(body)
        lang = asked_language(request.headers.get("accept-language", ""))
        refusals = hear(*found, hand, presses[:_MOST_PRESSES])
        wrong = " ".join(capital(tr(one.template, lang, **one.values)) for one in refusals)
    except BlendplanError:
        return _json({}, 400)
    heard = max((press["seq"] for press in presses[:_MOST_PRESSES]), default=0)
    return _now(found, request, {"heard": heard, "wrong": wrong}, str(json.loads(body).get("of", "")))


def _work_picture(request: Request) -> Response:
    found = _found(request.path_params["where"])
    try:
        data = _picture_of(*found) if found else b""
    except BlendplanError:
        data = b""
    return _for_good(data, "webp")


def _follow(request: Request) -> Response:
    """Answer how often a blanket was changed, and whether what is done is kept."""
    found = _found(request.path_params["where"])
    if found is None:
        return _json({"revision": 0, "unsaved": False})
    library, number = found
    return _json({"revision": library.revision(number), "unsaved": library.unsaved is not None})


def routes(base: str) -> list[Any]:
    """Return our own routes under the path at which the page stands."""
    return [
        Route(f"{base}/picture/{{name}}", _picture),
        Route(f"{base}/later/{{digest}}/{{how}}", _later),
        Route(f"{base}/work/{{where}}", _work),
        Route(f"{base}/work/{{where}}/now", _work_now),
        Route(f"{base}/work/{{where}}/presses", _work_presses, methods=["POST"]),
        Route(f"{base}/work/{{where}}/picture", _work_picture),
        Route(f"{base}/work/{{where}}/follow", _follow),
    ]
