"""What the page may ask: read a take, see its lesson, keep it, follow a player, look at a class.

Conventions: JSON in and out, errors as one line; what is read is read in the guarded child, for anything may be dropped
here; work is done in threads, one take at a time, so that the page stays alive meanwhile.
"""

from __future__ import annotations

import json
import shutil
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from stylemeter.errors import InputError, StylemeterError, UsageError
from stylemeter.reading import ReadOptions, Session
from stylemeter.support.printable import show
from stylemeter.web.shelf import Shelf, Take

if TYPE_CHECKING:
    from starlette.requests import Request

    from stylemeter.analysis import Analysis
    from stylemeter.music.melody import Melody
    from stylemeter.practice.findings import Findings

__all__ = ["Desk", "application"]

STATIC = Path(__file__).resolve().parent / "static"
#: Pages kept to be looked at, the oldest make room (one has half a megabyte at most); jobs remembered; solos of a file.
PAGES_MAX, JOBS_MAX, SOLOS_MAX = 40, 8, 50
#: Bars over which typed chords are laid, repeated; then they begin anew.
HARMONY_BARS = 96
#: Type of each kind of file in `STATIC`; no other is served.
TYPES = {".html": "text/html", ".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
#: A page we made brings its own policy, which names its script by its hash; inside a frame of ours and nowhere else.
_PAGE_HEADERS = {"content-security-policy": "frame-ancestors 'self'"}

Answer = Callable[["Asked"], Any]


@dataclass(frozen=True, slots=True)
class Asked:
    """A question: the words in its address, and its body, plain or as JSON."""

    desk: Desk
    words: Mapping[str, str]
    body: Any


class _CancelledError(Exception):
    """Whoever asked for a job wants it no more."""


@dataclass
class Job:
    """Long work: how far it is, and what came of it."""

    folder: Path
    done: int = 0
    total: int = 0
    url: str = ""
    error: str = ""
    cancelled: bool = False


@dataclass
class Desk:
    """What the server holds: the shelf, a reading session, styles as they were asked for, pages, long jobs.

    Parameters
    ----------
    shelf : Shelf
    advice : str, optional
        The teacher's own advice file.
    """

    shelf: Shelf
    advice: str | None = None
    session: Session = field(default_factory=lambda: Session(guarded=True))
    pages: OrderedDict[str, str] = field(default_factory=OrderedDict)
    jobs: OrderedDict[str, Job] = field(default_factory=OrderedDict)
    _any: Analysis | None = None
    _count: int = 0
    _lock: threading.RLock = field(default_factory=threading.RLock)

    def close(self) -> None:
        """End the reading process and the jobs, and take away what they made."""
        for job in self.jobs.values():
            job.cancelled = True
        self.session.close()
        for job in self.jobs.values():
            shutil.rmtree(job.folder, ignore_errors=True)

    # -- takes -----------------------------------------------------------------------------------------------------

    def melodies(self, data: bytes, name: str, kind: str | None, options: ReadOptions) -> list[Melody]:
        """Read what was dropped, pasted, recorded or corrected.

        Raises
        ------
        StylemeterError
        """
        with self._lock:
            return self.session.read_bytes(data, kind, name or "take", options)

    def analysis(self, style: str) -> Analysis:
        """How takes are judged against a style, or each against the one it is most typical of."""
        from stylemeter.analysis import prepare

        with self._lock:
            if self._any is None:
                self._any = prepare(advice=self.advice)
            # the styles are loaded once, whichever of them is compared with
            chosen = next((s for s in self._any.styles if s.name == style), None)
            if chosen is not None:
                return replace(self._any, profile=chosen)
            return prepare(style, advice=self.advice) if style else self._any

    def findings(self, table: Any, style: str) -> Findings:
        """All that is said of a corrected take."""
        melodies = self.melodies(_bytes(table), "take", "json", ReadOptions())
        analysis = self.analysis(style)
        with self._lock:
            return analysis.of(melodies[0])

    def keep(self, html: str) -> str:
        """Keep a page to be looked at; return where it lies."""
        with self._lock:
            self._count += 1
            name = f"{self._count}.html"
            self.pages[name] = html
            while len(self.pages) > PAGES_MAX:
                self.pages.popitem(last=False)
        return f"pages/{name}"

    # -- long jobs -------------------------------------------------------------------------------------------------

    def start(self, work: Callable[[Job], str]) -> str:
        """Begin long work in a thread of its own; return the job's number."""
        with self._lock:
            self._count += 1
            number = str(self._count)
            job = self.jobs[number] = Job(Path(tempfile.mkdtemp(prefix="stylemeter-")))
            while len(self.jobs) > JOBS_MAX:
                _, old = self.jobs.popitem(last=False)
                old.cancelled = True
                shutil.rmtree(old.folder, ignore_errors=True)
        threading.Thread(target=self._run, args=(job, work), daemon=True).start()
        return number

    def _run(self, job: Job, work: Callable[[Job], str]) -> None:
        try:
            job.url = work(job)
        except _CancelledError:
            job.error = "stopped"
        except StylemeterError as error:
            job.error = str(error)
        except Exception as error:  # noqa: BLE001 - a fault of ours must not leave the page waiting for ever
            job.error = show(f"something went wrong ({type(error).__name__}: {error}); please report it", 300)


# -- what may be asked ---------------------------------------------------------------------------------------------


def styles(asked: Asked) -> Any:
    """The installed styles, whom one may want to sound like, and the names of the habits."""
    from stylemeter.features import HABITS
    from stylemeter.practice.words import words

    rows = [{"name": s.name, "style": s.style} for s in asked.desk.analysis("").styles]
    return {"styles": rows, "habits": {name: words().title(name) for name in HABITS}}


def harmony(asked: Asked) -> Any:
    """What sounds under a recording, in beats: the chords typed, or a drone on the key; begun anew after `length`."""
    from stylemeter.music.chords.symbols import lay_chords
    from stylemeter.music.keys import parse_key
    from stylemeter.music.meter import TICKS, Meter, lay_bars, regular_spans

    beats = _whole(asked.words.get("beats", "4"), "beats", 2, 12)
    if asked.words.get("along") == "drone":
        if not asked.words.get("key"):
            raise UsageError("a drone needs a key", mend='type one, such as "D dorian"')
        tonic = 36 + parse_key(asked.words["key"]).tonic
        return {"length": beats, "sounds": [{"at": 0, "to": beats, "pitches": [tonic, tonic + 7, tonic + 12]}]}
    text = asked.words.get("chords", "")
    if not text.strip():
        raise UsageError("no chords typed", mend='type them bar by bar: "Dm7 | G7 |"')
    meters = (Meter(0, beats, 4),)
    end = HARMONY_BARS * beats * TICKS
    chords = lay_chords(text, meters, lay_bars(regular_spans(meters, 0, end), meters), 0, end)
    ends = [*(c.onset for c in chords[1:]), end]
    return {
        "length": HARMONY_BARS * beats,
        "sounds": [
            {"at": c.onset / TICKS, "to": to / TICKS, "pitches": [48 + p for p in c.pitch_classes]}
            for c, to in zip(chords, ends, strict=True)
            if c.pitch_classes
        ],
    }


def read(asked: Asked) -> Any:
    """The solos of a file, as understood: note table, picture, remarks. The body is the file."""
    from stylemeter.web.picture import take_picture
    from stylemeter.writing.table import to_json

    wishes = dict(asked.words)
    name, kind = wishes.pop("name", "take"), wishes.pop("kind", None)
    melodies = asked.desk.melodies(asked.body, name, kind, _options(wishes))
    return {
        "solos": [
            {"table": json.loads(to_json(m)), "picture": take_picture(m), "remarks": list(m.remarks)}
            for m in melodies[:SOLOS_MAX]
        ],
        "left_out": max(0, len(melodies) - SOLOS_MAX),
    }


def lesson(asked: Asked) -> Any:
    """The lesson of a corrected take against a style: where its page lies, and what it says in short."""
    from stylemeter.report.solo.page import page_html

    findings = asked.desk.findings(_field(asked.body, "table", dict), _text(asked.body, "style"))
    return {"url": asked.desk.keep(page_html(findings)), "told": told(findings)}


def shelf(asked: Asked) -> Any:
    """Every take on the shelf."""
    return [
        {"player": t.player, "called": t.record.get("player") or t.player, "name": t.name, "date": t.date}
        | {"title": t.record.get("title") or t.name[11:]}
        | {"told": t.record.get("told") or {}, "original": bool(t.record.get("original"))}
        for t in asked.desk.shelf.takes()
    ]


def put(asked: Asked) -> Any:
    """Keep a take: its corrected notes, and what was said of it."""
    table = _field(asked.body, "table", dict)
    # what is kept can be read again
    asked.desk.melodies(_bytes(table), "take", "json", ReadOptions())
    take = asked.desk.shelf.put(
        _text(asked.body, "player"),
        _text(asked.body, "title"),
        _bytes(table),
        day=_text(asked.body, "date"),
        told=asked.body.get("told"),
    )
    return {"player": take.player, "name": take.name}


def put_original(asked: Asked) -> Any:
    """Keep the take as it came, beside its notes."""
    asked.desk.shelf.put_original(_take(asked), asked.words.get("file", "take"), asked.body)
    return {}


def take(asked: Asked) -> Any:
    """One take of the shelf, to be looked at again."""
    found = _take(asked)
    return read(Asked(asked.desk, {"kind": "json"}, asked.desk.shelf.table(found))) | {"record": found.record}


def remove(asked: Asked) -> Any:
    """Take a take off the shelf."""
    asked.desk.shelf.remove(_take(asked))
    return {}


def export(asked: Asked) -> Response:
    """The shelf as an archive to keep elsewhere."""
    player = asked.words.get("player")
    headers = {"content-disposition": 'attachment; filename="takes.zip"'}
    return Response(asked.desk.shelf.packed(player), media_type="application/zip", headers=headers)


def progress(asked: Asked) -> Any:
    """A player's takes over time: where the page lies."""
    from stylemeter.report.progress.document import chosen
    from stylemeter.report.progress.page import progress_html
    from stylemeter.takes.progress import follow

    player = _text(asked.body, "player")
    takes = [t for t in asked.desk.shelf.takes() if t.player == player]
    if len(takes) < 2:
        raise UsageError("progress needs two takes at least", mend="keep another take of this player first")
    melodies = [asked.desk.melodies(asked.desk.shelf.table(t), t.name, "json", ReadOptions())[0] for t in takes]
    analysis = asked.desk.analysis(_text(asked.body, "style"))
    if analysis.profile is None:
        raise UsageError("no style chosen", mend="choose whom the player wants to sound like")
    moved = follow(melodies, analysis.profile)
    return {"url": asked.desk.keep(progress_html(moved, chosen(moved, ()), analysis.advice, "name"))}


def overview(asked: Asked) -> Any:
    """Place all takes of the shelf: the number of the job that does it."""
    style = _text(asked.body, "style")
    if not style:
        raise UsageError("no style chosen", mend="choose whom the class wants to sound like")
    if not asked.desk.shelf.takes():
        raise UsageError("the shelf is empty", mend="keep a take first")

    def work(job: Job) -> str:
        from stylemeter.batch.run import place_folder

        def so_far(done: int, total: int) -> None:
            job.done, job.total = done, total
            if job.cancelled:
                raise _CancelledError

        out = job.folder / "class"
        place_folder(asked.desk.shelf.folder, out, style, advice=asked.desk.advice, progress=so_far)
        wanted = "sheets.html" if asked.body.get("page") == "sheets.html" else "index.html"
        return f"class/{wanted}"

    return {"job": asked.desk.start(work)}


def job(asked: Asked) -> Any:
    """How far a job is."""
    at = _job(asked)
    url = f"jobs/{asked.words['number']}/{at.url}" if at.url else ""
    return {"done": at.done, "total": at.total, "url": url, "error": at.error}


def cancel(asked: Asked) -> Any:
    """Stop a job."""
    _job(asked).cancelled = True
    return {}


def told(findings: Findings) -> dict[str, Any]:
    """What is kept of a lesson for the shelf: the style, the verdict of each habit, the sentence."""
    placed = findings.placement
    return {
        "profile": placed.profile.name,
        "style": placed.profile.style,
        "habits": {h.name: h.verdict for h in placed.habits},
        "sentence": findings.headline,
    }


#: Path -> method -> what answers, and whether it takes the body as it is.
_ASKED: list[tuple[str, str, Answer, bool]] = [
    ("/api/styles", "GET", styles, False),
    ("/api/harmony", "GET", harmony, False),
    ("/api/read", "POST", read, True),
    ("/api/lesson", "POST", lesson, False),
    ("/api/shelf", "GET", shelf, False),
    ("/api/shelf", "POST", put, False),
    ("/api/take", "GET", take, False),
    ("/api/take", "DELETE", remove, False),
    ("/api/take/original", "POST", put_original, True),
    ("/api/export", "GET", export, False),
    ("/api/progress", "POST", progress, False),
    ("/api/class", "POST", overview, False),
    ("/api/jobs/{number}", "GET", job, False),
    ("/api/jobs/{number}", "DELETE", cancel, False),
]


def application(desk: Desk) -> Starlette:
    """The application behind the door."""
    routes = [Route(path, _endpoint(desk, answer, raw), methods=[method]) for path, method, answer, raw in _ASKED]
    routes += [
        Route("/", _static("index.html")),
        Route("/static/{name}", _static(None)),
        Route("/pages/{name}", _kept_page(desk)),
        Route("/jobs/{number}/{path:path}", _made_page(desk)),
    ]
    return Starlette(routes=routes, exception_handlers={404: _not_found, 405: _not_found})


def _endpoint(desk: Desk, answer: Answer, raw: bool) -> Callable[[Request], Awaitable[Response]]:
    """Answer a question in a thread; whatever is wrong is told in one line."""

    async def endpoint(request: Request) -> Response:
        data = await request.body()
        try:
            body = data if raw or request.method == "GET" else _json(data)
            words = {**request.query_params, **request.path_params}
            made = await run_in_threadpool(answer, Asked(desk, words, body))
        except StylemeterError as error:
            # what is wrong with a take is an answer too: a browser would put a failed request into its log
            return JSONResponse({"error": str(error)})
        except Exception as error:  # noqa: BLE001 - the edge of the server: a fault of ours is one line too
            what = show(f"something went wrong ({type(error).__name__}: {error}); please report it", 300)
            return JSONResponse({"error": what}, 500)
        return made if isinstance(made, Response) else JSONResponse(made)

    return endpoint


def _static(name: str | None) -> Callable[[Request], Awaitable[Response]]:
    """A file of the page: one of those that lie in `STATIC`, by its name."""
    there = {p.name: p for p in STATIC.iterdir() if p.suffix in TYPES}

    async def served(request: Request) -> Response:
        path = there.get(name or request.path_params["name"])
        return FileResponse(path, media_type=TYPES[path.suffix]) if path else await _not_found(request, None)

    return served


def _kept_page(desk: Desk) -> Callable[[Request], Awaitable[Response]]:
    async def served(request: Request) -> Response:
        html = desk.pages.get(request.path_params["name"])
        return HTMLResponse(html, headers=_PAGE_HEADERS) if html else await _not_found(request, None)

    return served


def _made_page(desk: Desk) -> Callable[[Request], Awaitable[Response]]:
    """A file that a job made: looked up among those that are there, so that no path leads out."""

    async def served(request: Request) -> Response:
        at = desk.jobs.get(request.path_params["number"])
        wanted = request.path_params["path"]
        there = {p.relative_to(at.folder).as_posix(): p for p in at.folder.rglob("*") if p.is_file()} if at else {}
        path = there.get(wanted)
        if path is None or path.suffix not in TYPES:
            return await _not_found(request, None)
        return FileResponse(path, media_type=TYPES[path.suffix], headers=_PAGE_HEADERS)

    return served


async def _not_found(_: Request, __: Exception | None) -> Response:
    return PlainTextResponse("stylemeter: there is no such thing here\n", 404)


# -- small things --------------------------------------------------------------------------------------------------


def _options(wishes: dict[str, str]) -> ReadOptions:
    """How to read, from the words on the page.

    Raises
    ------
    UsageError
    """
    given: dict[str, Any] = {}
    for name, text in wishes.items():
        if name in ("part", "key", "meter", "chords"):
            given[name] = text or None
        elif name in ("tempo", "first_beat"):
            given[name] = _number(text, name) if text else None
        elif name == "count_in":
            given[name] = _whole(text, name, 1, 64) if text else None
        else:
            raise UsageError(f"{show(name)!r} can't be asked for")
    return ReadOptions(**given)


def _number(text: str, name: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"{show(text)!r} is no number", where=name, mend="type digits") from None


def _whole(text: str, name: str, least: int, most: int) -> int:
    if not text.isascii() or not text.isdigit() or not least <= int(text[:4]) <= most:
        raise UsageError(f"{show(text)!r} is out of range", where=name, mend=f"{least} to {most}")
    return int(text)


def _json(data: bytes) -> Any:
    """A body as JSON.

    Raises
    ------
    UsageError
    """
    try:
        return json.loads(data) if data else {}
    except (ValueError, RecursionError):
        raise UsageError("what was sent is not JSON") from None


def _field(body: Any, name: str, kind: type) -> Any:
    value = body.get(name) if isinstance(body, dict) else None
    if not isinstance(value, kind):
        raise UsageError(f"{name!r} is missing or is not what it should be")
    return value


def _text(body: Any, name: str) -> str:
    value = body.get(name, "") if isinstance(body, dict) else ""
    if not isinstance(value, str) or len(value) > 4000:
        raise UsageError(f"{name!r} is not what it should be")
    return value


def _bytes(table: Any) -> bytes:
    return json.dumps(table, ensure_ascii=False).encode("utf-8", "replace")


def _take(asked: Asked) -> Take:
    return asked.desk.shelf.find(asked.words.get("player", ""), asked.words.get("name", ""))


def _job(asked: Asked) -> Job:
    found = asked.desk.jobs.get(asked.words["number"])
    if found is None:
        raise InputError("no such job", mend="start it again")
    return found
