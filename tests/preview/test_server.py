"""Who a preview answers, what it sends, and when it makes the site anew."""

from __future__ import annotations

import contextlib
import http.client
import os
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from house import copied

from sitegen.cli import main
from sitegen.preview import server
from sitegen.preview.server import LOOPBACK, OWN, Board, PortTaken, Server
from sitegen.preview.watching import stamp

PAGE = b"<!doctype html><html><head><title>x</title></head><body>one</body></html>"
PATIENCE = 120.0  # s: a busy machine is slow, and only a fault takes so long
SITE = {"index.html": PAGE, "programs/p/index.html": PAGE, "assets/a.css": b"p{}", "files/order.pdf": b"%PDF"}


@pytest.fixture
def board() -> Board:
    return Board()


@pytest.fixture
def port(board: Board) -> Iterator[int]:
    server = Server(board, 0)
    server.start()
    yield server.port
    server.stop()


def answer(port: int, path: str, method: str = "GET", **headers: str) -> tuple[int, dict[str, str], bytes]:
    connection = http.client.HTTPConnection(LOOPBACK, port, timeout=PATIENCE)
    connection.putrequest(method, path, skip_host=True)
    for name, value in ({"Host": f"{LOOPBACK}:{port}"} | {k.replace("_", "-"): v for k, v in headers.items()}).items():
        connection.putheader(name, value)
    connection.endheaders()
    got = connection.getresponse()
    body = got.read()
    connection.close()
    return got.status, dict(got.getheaders()), body


def test_it_listens_on_the_loopback_address_alone(port: int) -> None:
    with socket.create_connection((LOOPBACK, port), timeout=PATIENCE) as there:
        assert there.getsockname()[0] == LOOPBACK
    if Path("/proc/net/tcp").exists():  # every socket that listens on this port, as the kernel tells it
        rows = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
        listening = [row[1] for row in rows if row[3] == "0A" and int(row[1].split(":")[1], 16) == port]
        assert listening == [f"0100007F:{port:04X}"]


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "192.168.0.9:{port}", "", "localhost"]
)
@pytest.mark.parametrize("path", ["/", f"{OWN}news.js", f"{OWN}script.js"])
def test_another_name_is_refused(board: Board, port: int, host: str, path: str) -> None:
    board.show(SITE)
    status, _, body = answer(port, path, Host=host.format(port=port))
    assert status == 403
    assert b"one" not in body
    assert b"sitegenPreview" not in body


@pytest.mark.parametrize("host", ["127.0.0.1:{port}", "localhost:{port}", "LOCALHOST:{port}"])
def test_its_own_names_are_answered(board: Board, port: int, host: str) -> None:
    board.show(SITE)
    assert answer(port, "/", Host=host.format(port=port))[0] == 200


def test_other_sites_cannot_load_its_news(board: Board, port: int) -> None:
    board.complain("1 error", "secret.yaml:1: what")
    for site in ("cross-site", "same-site", "none"):
        status, _, body = answer(port, f"{OWN}news.js", Sec_Fetch_Site=site)
        assert (status, b"secret" in body) == (403, False), site
    status, headers, body = answer(port, f"{OWN}news.js", Sec_Fetch_Site="same-origin")
    assert (status, b"secret.yaml:1" in body) == (200, True)
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["X-Frame-Options"] == "DENY"


def test_pages_get_one_script_and_are_else_as_published(board: Board, port: int) -> None:
    board.show(SITE)
    for path in ("/", "/index.html", "/programs/p/", "/programs/p/index.html?sort=1"):
        status, headers, body = answer(port, path)
        assert status == 200
        assert headers["Content-Type"] == "text/html; charset=utf-8"
        assert headers["Cache-Control"] == "no-store"
        begin, _, rest = body.partition(b'<script defer src="/-preview/script.js" data-site="')
        assert begin + rest[16 + len(b'"></script>') :] == PAGE
    assert answer(port, "/assets/a.css")[2] == b"p{}"
    assert answer(port, "/files/order.pdf")[1]["Content-Type"] == "application/pdf"
    status, headers, body = answer(port, "/index.html", "HEAD")
    assert (status, body) == (200, b"")
    assert int(headers["Content-Length"]) > len(PAGE)


@pytest.mark.parametrize(
    "path", ["/nothing.html", "/../pyproject.toml", "/%2e%2e/pyproject.toml", "//etc/passwd", "/-preview/x"]
)
def test_what_is_not_there(board: Board, port: int, path: str) -> None:
    board.show(SITE)
    status, _, body = answer(port, path)
    assert status == 404
    assert b"[project]" not in body
    assert b"root:" not in body


def test_only_reading_is_offered(board: Board, port: int) -> None:
    board.show(SITE)
    for method in ("POST", "PUT", "DELETE", "OPTIONS"):
        assert answer(port, "/", method)[0] == 501


def test_news_wait_until_there_are_some(board: Board, port: int) -> None:
    board.show(SITE)
    first = answer(port, f"{OWN}news.js?after=")[2].decode()
    mark = first.split('"mark": "')[1].split('"')[0]
    got: list[str] = []
    waiting = threading.Thread(target=lambda: got.append(answer(port, f"{OWN}news.js?after={mark}")[2].decode()))
    waiting.start()
    waiting.join(0.3)
    assert waiting.is_alive()
    assert got == []
    board.complain("2 errors in the files", "</script><b>\u2028")
    waiting.join(PATIENCE)
    assert "2 errors in the files" in got[0]
    assert "\u2028" not in got[0]  # JSON in a script is ASCII


def test_the_hash_tells_whether_pages_changed(board: Board) -> None:
    board.show(SITE)
    one = board.shown.hash
    board.complain("1 error", "x")
    assert (board.shown.hash, board.shown.site) == (one, SITE)
    board.show(dict(reversed(SITE.items())))
    assert (board.shown.hash, board.shown.heading) == (one, "")
    board.show({**SITE, "assets/a.css": b"q{}"})
    assert board.shown.hash != one


def test_a_port_in_use_is_said(board: Board, port: int, capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    with pytest.raises(PortTaken, match=rf"Port {port} is in use\. Name another with --port; --port 0 takes any"):
        Server(board, port)
    assert main(["preview", str(tmp_path), "--port", str(port)]) == 2
    assert f"Port {port} is in use." in capsys.readouterr().err


def test_stopping_lets_go_who_waits(board: Board, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sitegen.preview.server._PATIENCE", 3600.0)  # s: nobody goes by himself
    server = Server(board, 0)
    server.start()
    mark = board.news("").split('"mark": "')[1].split('"')[0]
    waiting = threading.Thread(target=board.news, args=(mark,), daemon=True)
    waiting.start()
    server.stop()
    waiting.join(PATIENCE)
    assert not waiting.is_alive()
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection((LOOPBACK, server.port), timeout=PATIENCE)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["nowhere"], "nowhere: there is no such folder."),
        ([".", "--port", "x"], "'x' is not a whole number from 0 to 65535"),
        ([".", "--port", "70000"], "'70000' is not a whole number from 0 to 65535"),
    ],
)
def test_wrong_use(arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["preview", *arguments]) == 2
    assert said in capsys.readouterr().err


# ---- what is watched -------------------------------------------------------------------------------------------------


def test_every_file_that_counts_is_watched(tmp_path: Path) -> None:
    programs = copied(tmp_path)
    theme = tmp_path / "theme"
    theme.mkdir()
    own = programs / "pump-rings-2026"
    before = stamp(programs, theme)
    assert stamp(programs, theme) == before
    for path in (
        programs / "definitions.yaml",
        own / "program.yaml",
        own / "records" / "leakdown-b1.csv",
        own / "logs" / "b1-pulls.csv",
        own / "notes.md",
        own / "records" / "new.csv",
        theme / "report.css",
    ):
        with path.open("ab") as file:
            file.write(b"#")
        after = stamp(programs, theme)
        assert after != before, path
        before = after
    (own / "records" / "new.csv").unlink()
    assert stamp(programs, theme) != before


def test_what_does_not_count_is_not(tmp_path: Path) -> None:
    programs = copied(tmp_path)
    own = programs / "pump-rings-2026"
    alone, all_of_them = stamp(own, None), stamp(programs, None)
    (own / ".draft.swp").write_text("x")
    (programs / ".git").mkdir()
    (programs / ".git" / "index").write_text("x")
    assert (stamp(own, None), stamp(programs, None)) == (alone, all_of_them)
    with (programs / "pump-rings-2025" / "notes.md").open("ab") as file:
        file.write(b"#")
    assert stamp(own, None) == alone  # a program looked at alone does not wait for another's notes
    assert stamp(programs, None) != all_of_them
    with (programs / "definitions.yaml").open("ab") as file:
        file.write(b"#")
    assert stamp(own, None) != alone


def test_a_change_that_keeps_the_size_is_seen(tmp_path: Path) -> None:
    programs = copied(tmp_path)
    path = programs / "pump-rings-2026" / "notes.md"
    before = stamp(programs, None)
    text = path.read_bytes()
    path.write_bytes(bytes(reversed(text)))
    os.utime(path, ns=(path.stat().st_atime_ns, path.stat().st_mtime_ns + 1_000_000))
    assert stamp(programs, None) != before


def test_a_folder_that_is_gone_is_a_stamp_too(tmp_path: Path) -> None:
    assert stamp(tmp_path / "gone", None) == ((str(tmp_path / "gone"), -1, -1),)


def threads() -> int:
    return sum("process_request_thread" in each.name for each in threading.enumerate())


def test_many_who_say_nothing_take_few_threads_and_are_let_go(
    board: Board, port: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two hundred connections that send half a request, a byte now and then: bounded, and gone after a while."""
    board.show(SITE)
    before = threads()
    stalled = [socket.create_connection((LOOPBACK, port), timeout=PATIENCE) for _ in range(200)]
    try:
        for each in stalled:
            with contextlib.suppress(OSError):
                each.sendall(b"GET / HT")
        for _ in range(20):
            assert threads() - before <= server.MOST
            time.sleep(0.02)
        monkeypatch.setattr(server, "_LONGEST", 0.5)
        until = time.monotonic() + PATIENCE
        while threads() > before and time.monotonic() < until:
            for each in stalled:  # who sends a byte now and then is let go all the same
                with contextlib.suppress(OSError):
                    each.sendall(b"T")
            time.sleep(0.1)
        assert threads() == before
        monkeypatch.undo()
        assert answer(port, "/")[0] == 200
    finally:
        for each in stalled:
            each.close()


def test_news_may_be_waited_for_by_many_tabs(board: Board, port: int) -> None:
    """As many pages as there is room for wait; one more is turned away at once, and served when there is room again."""
    waiting = [socket.create_connection((LOOPBACK, port), timeout=PATIENCE) for _ in range(server.MOST)]
    ask = f"GET {OWN}news.js?after={board._mark()} HTTP/1.1\r\nHost: {LOOPBACK}:{port}\r\n\r\n".encode()
    try:
        for each in waiting:
            each.sendall(ask)
        until = time.monotonic() + PATIENCE
        while threads() < server.MOST and time.monotonic() < until:
            time.sleep(0.02)
        with pytest.raises((http.client.RemoteDisconnected, ConnectionError)):
            answer(port, "/")
        board.show(SITE)
        for each in waiting:
            assert each.recv(15) == b"HTTP/1.0 200 OK"
    finally:
        for each in waiting:
            each.close()
    until = time.monotonic() + PATIENCE
    while threads() and time.monotonic() < until:
        time.sleep(0.02)
    assert answer(port, "/")[0] == 200
