"""A web server for the browsers of this machine: the last good site from memory, and what is wrong with the next one.

It listens on the loopback address alone. A request that names another host is refused, so that no web page can reach it
under a name of its own; scripts of other sites cannot load its news. Pages keep their content security policy: what is
put into them is one classic script from this server, and news arrive as scripts too, answered when there are some.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import json
import os
import socket
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, ClassVar
from urllib.parse import parse_qs, unquote, urlsplit

from sitegen import places

LOOPBACK = "127.0.0.1"
OWN = "/-preview/"  # no id begins with a hyphen, so no page of a site lies there
_PATIENCE = 20.0  # s a question for news is left open
MOST = 32  # connections at a time, each a thread; a browser opens six to one server
_LONGEST = 60.0  # s that one connection may last, whatever it does meanwhile
_TYPES = {
    "html": "text/html; charset=utf-8",
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "txt": "text/plain; charset=utf-8",
    "md": "text/plain; charset=utf-8",
    "json": "application/json",
    "pdf": "application/pdf",
    "svg": "image/svg+xml",
    "png": "image/png",
    "jpg": "image/jpeg",
    "jpeg": "image/jpeg",
    "webp": "image/webp",
}
_EMPTY = (
    '<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; script-src 'self'; "
    'style-src \'unsafe-inline\'; img-src data:"><link rel="icon" href="data:,">'
    '<meta name="viewport" content="width=device-width, initial-scale=1"></head><body><main><h1>{title}</h1>'
    '<p><a href="/">To the first page</a></p></main></body></html>'
)


class PortTaken(Exception):  # noqa: N818 - an answer for the user, not a fault
    """The port cannot be had, as a plain sentence."""


@dataclass(frozen=True)
class _Shown:
    """What browsers are shown."""

    site: Mapping[str, bytes]
    hash: str  # of the site: pages load anew when it changes
    heading: str = ""  # over the panel; "" none
    problems: str = ""


class Board:
    """The last good site and the present problems; threads wait here for news."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._shown = _Shown({}, "")
        self._count = 0
        self._closed = False

    def show(self, site: Mapping[str, bytes], heading: str = "", problems: str = "") -> None:
        """A new site, and what is wrong with the programs that stay in it as they were."""
        digest = hashlib.sha256()
        for path in sorted(site):
            digest.update(path.encode() + b"\0" + hashlib.sha256(site[path]).digest())
        self._put(_Shown(dict(site), digest.hexdigest()[:16], heading, problems))

    def complain(self, heading: str, problems: str) -> None:
        """What is wrong; the last good site stays."""
        self._put(_Shown(self._shown.site, self._shown.hash, heading, problems))

    def close(self) -> None:
        """Let nobody wait any longer."""
        with self._changed:
            self._closed = True
            self._changed.notify_all()

    def _put(self, shown: _Shown) -> None:
        with self._changed:
            self._shown = shown
            self._count += 1
            self._changed.notify_all()

    @property
    def shown(self) -> _Shown:
        """What is shown just now."""
        return self._shown

    def news(self, after: str) -> str:
        """A script that tells what is shown, once that is not what `after` stands for; after a while nothing."""
        with self._changed:
            self._changed.wait_for(lambda: self._closed or after != self._mark(), _PATIENCE)
            if after == self._mark():
                return ""
            shown = self._shown
            told = {"mark": self._mark(), "site": shown.hash, "heading": shown.heading, "problems": shown.problems}
        return f"sitegenPreview({json.dumps(told)});\n"

    def _mark(self) -> str:
        return f"{os.getpid()}-{self._count}"


class Server:
    """The server, bound and not yet running. `port` 0 takes any free one."""

    def __init__(self, board: Board, port: int) -> None:
        """Raises PortTaken."""
        script = (places.theme() / "preview.js").read_bytes()

        class Bound(_Handler):
            pass

        Bound.board, Bound.script = board, script
        try:
            self._server = _Quiet((LOOPBACK, port), Bound)
        except OSError as problem:
            if problem.errno in {errno.EADDRINUSE, getattr(errno, "WSAEADDRINUSE", -1)}:
                told = f"Port {port} is in use."
            elif problem.errno in {errno.EACCES, errno.EPERM}:
                told = f"Port {port} is kept for the system."
            else:
                told = f"Port {port} cannot be had: {problem.strerror or problem}."
            raise PortTaken(f"{told} Name another with --port; --port 0 takes any that is free.") from problem
        self._board = board
        self.port = int(self._server.server_address[1])
        Bound.hosts = frozenset({f"{LOOPBACK}:{self.port}", f"localhost:{self.port}"})

    def start(self) -> None:
        """Answer from now on, in threads of its own."""
        threading.Thread(target=self._server.serve_forever, kwargs={"poll_interval": 0.1}, daemon=True).start()

    def stop(self) -> None:
        """Close the port; who still waits for news is let go."""
        self._board.close()
        self._server.shutdown()
        self._server.server_close()


class _Quiet(ThreadingHTTPServer):
    daemon_threads = True
    block_on_close = False
    allow_reuse_address = os.name != "nt"  # there it would let two servers have one port

    def __init__(self, address: tuple[str, int], handler: type[BaseHTTPRequestHandler]) -> None:
        self._open: dict[socket.socket, float] = {}  # connections and when they began
        self._counted = threading.Lock()
        super().__init__(address, handler)

    def process_request(self, request: Any, client_address: Any) -> None:
        """A thread for each connection, as long as there are few; beyond, the door is closed at once."""
        with self._counted:
            taken = len(self._open) < MOST
            if taken:
                self._open[request] = time.monotonic()
        if taken:
            super().process_request(request, client_address)
        else:
            self.shutdown_request(request)

    def shutdown_request(self, request: Any) -> None:
        """Let go of a connection."""
        with self._counted:
            self._open.pop(request, None)
        super().shutdown_request(request)

    def service_actions(self) -> None:
        """Asked several times a second: whoever stalls is let go, and so is the thread that waits for them."""
        late = time.monotonic() - _LONGEST
        with self._counted:
            stalled = [request for request, began in self._open.items() if began < late]
        for request in stalled:
            with contextlib.suppress(OSError):
                request.shutdown(socket.SHUT_RDWR)

    def handle_error(self, request: object, client_address: object) -> None:
        """A browser that went away in the middle of an answer is no news."""


class _Handler(BaseHTTPRequestHandler):
    board: ClassVar[Board]
    script: ClassVar[bytes]
    hosts: ClassVar[frozenset[str]]
    server_version = "sitegen"
    sys_version = ""
    timeout = 20  # s without a byte

    def do_GET(self) -> None:
        """Answer; the library asks for methods of this name."""
        if self.headers.get("Host", "").lower() not in self.hosts:
            self._answer(
                HTTPStatus.FORBIDDEN, "text/plain; charset=utf-8", b"This preview answers this machine only.\n"
            )
            return
        asked = urlsplit(self.path)
        if asked.path.startswith(OWN):
            self._own(asked.path, asked.query)
        else:
            self._page(unquote(asked.path))

    do_HEAD = do_GET  # noqa: N815 - the name the library calls

    def _own(self, path: str, query: str) -> None:
        """The script and the news; not for pages of other sites."""
        if self.headers.get("Sec-Fetch-Site", "same-origin") != "same-origin":
            self._answer(HTTPStatus.FORBIDDEN, "text/plain; charset=utf-8", b"Not for other sites.\n")
        elif path == f"{OWN}script.js":
            self._answer(HTTPStatus.OK, _TYPES["js"], self.script)
        elif path == f"{OWN}news.js":
            after = parse_qs(query).get("after", [""])[0]
            self._answer(HTTPStatus.OK, _TYPES["js"], self.board.news(after).encode())
        else:
            self._answer(HTTPStatus.NOT_FOUND, "text/plain; charset=utf-8", b"There is no such file.\n")

    def _page(self, path: str) -> None:
        shown = self.board.shown
        name = path.lstrip("/")
        name += "index.html" if not name or name.endswith("/") else ""
        content = shown.site.get(name)
        status = HTTPStatus.OK
        if content is None:
            title = "No page is made yet"
            if shown.site:
                status, title = HTTPStatus.NOT_FOUND, "There is no such page"
            name, content = "missing.html", _EMPTY.format(title=title).encode()
        kind = _TYPES.get(name.rpartition(".")[2].lower(), "application/octet-stream")
        if kind.startswith("text/html"):
            own = f'<script defer src="{OWN}script.js" data-site="{shown.hash}"></script></head>'
            content = content.replace(b"</head>", own.encode(), 1)
        self._answer(status, kind, content)

    def _answer(self, status: HTTPStatus, kind: str, content: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Cache-Control", "no-store")
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Cross-Origin-Resource-Policy", "same-origin")
        self.send_header("X-Frame-Options", "DENY")
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(content)

    def log_message(self, format: str, *args: object) -> None:
        """Requests are nobody's news."""
