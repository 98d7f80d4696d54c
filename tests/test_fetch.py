"""Recordings fetched: from a server of the test's own, on this machine."""

import hashlib
import threading
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import ClassVar

import pytest

from infantmon.cli import main
from infantmon.errors import ArgumentError
from infantmon.labelled.fetching import FetchError, fetch

FILES = {
    "100.dat": bytes(range(256)) * 999,
    "100.hea": b"100 1 250 1\n",
    "deep/a.txt": b"x" * 70000,
}


class Server(SimpleHTTPRequestHandler):
    """Gives files, and the rest of a file where asked from a byte on."""

    asked: ClassVar[list[tuple[str, str | None]]] = []

    def do_GET(self):
        where = self.headers.get("Range")
        self.asked.append((self.path, where))
        if where is None or not (path := self.translate_path(self.path)):
            return super().do_GET()
        start = int(where.removeprefix("bytes=").rstrip("-"))
        rest = Path(path).read_bytes()[start:]
        if not rest:
            self.send_error(416)
            return None
        self.send_response(206)
        self.send_header("Content-Length", str(len(rest)))
        self.end_headers()
        self.wfile.write(rest)
        return None

    def log_message(self, *_words):
        """Say nothing."""


@pytest.fixture
def site(tmp_path):
    """A site with one invented database, under the name and edition of a known one."""
    root = tmp_path / "site" / "mitdb" / "1.0.0"
    for name, content in FILES.items():
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_bytes(content)
    lines = [f"{hashlib.sha256(content).hexdigest()} {name}" for name, content in FILES.items()]
    (root / "SHA256SUMS.txt").write_text("\n".join(lines) + "\n")
    Server.asked = []
    server = ThreadingHTTPServer(
        ("127.0.0.1", 0), partial(Server, directory=str(tmp_path / "site"))
    )
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield root, f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    server.server_close()


def test_all_files_come_and_are_checked(site, tmp_path):
    _, base = site
    shares = []
    done = fetch("mitdb", tmp_path / "got", base=base, progress=lambda _, s: shares.append(s))
    assert (done.files, done.loaded, done.resumed) == (3, 3, 0)
    for name, content in FILES.items():
        assert (tmp_path / "got" / "mitdb" / name).read_bytes() == content
    assert shares[-1] == 1.0
    assert not list((tmp_path / "got").rglob("*.part"))


def test_what_is_there_and_right_is_left_alone(site, tmp_path):
    _, base = site
    fetch("mitdb", tmp_path, base=base)
    (tmp_path / "mitdb" / "100.hea").write_bytes(b"spoilt")
    Server.asked.clear()
    assert fetch("mitdb", tmp_path, base=base).loaded == 1
    assert [path for path, _ in Server.asked][1:] == ["/mitdb/1.0.0/100.hea"]
    assert (tmp_path / "mitdb" / "100.hea").read_bytes() == FILES["100.hea"]


def test_a_file_cut_off_is_taken_up_where_it_ended(site, tmp_path):
    _, base = site
    (tmp_path / "mitdb").mkdir()
    (tmp_path / "mitdb" / "100.dat.part").write_bytes(FILES["100.dat"][:1000])
    done = fetch("mitdb", tmp_path, base=base)
    assert done.resumed == 1
    assert ("/mitdb/1.0.0/100.dat", "bytes=1000-") in Server.asked
    assert (tmp_path / "mitdb" / "100.dat").read_bytes() == FILES["100.dat"]


@pytest.mark.parametrize("left", [b"other bytes than those", FILES["100.dat"] + b"more"])
def test_what_was_left_of_something_else_is_loaded_anew(site, tmp_path, left):
    _, base = site
    (tmp_path / "mitdb").mkdir()
    (tmp_path / "mitdb" / "100.dat.part").write_bytes(left)
    fetch("mitdb", tmp_path, base=base)
    assert (tmp_path / "mitdb" / "100.dat").read_bytes() == FILES["100.dat"]


def test_a_file_that_does_not_agree_with_its_sum_is_not_kept(site, tmp_path):
    root, base = site
    (root / "100.dat").write_bytes(b"changed on the way")
    with pytest.raises(FetchError, match="it was not kept"):
        fetch("mitdb", tmp_path, base=base)
    assert not list(tmp_path.glob("mitdb/100.dat*"))


@pytest.mark.parametrize("path", ["../outside", "/etc/hosts", "a/../../b", "c:\\x"])
def test_a_list_cannot_write_elsewhere(site, tmp_path, path):
    root, base = site
    (root / "SHA256SUMS.txt").write_text(f"{'0' * 64} {path}\n")
    with pytest.raises(FetchError, match="is no list of SHA-256 sums"):
        fetch("mitdb", tmp_path / "got", base=base)
    assert not (tmp_path / "got").exists()


def test_no_list_no_file_no_database(site, tmp_path):
    root, base = site
    with pytest.raises(ArgumentError, match="there is no database 'mitbd' to fetch; give mitdb"):
        fetch("mitbd", tmp_path, base=base)
    with pytest.raises(ArgumentError, match="is no address"):
        fetch("mitdb", tmp_path, base="file:///etc")
    (root / "100.dat").unlink()
    with pytest.raises(FetchError, match="404"):
        fetch("mitdb", tmp_path, base=base)
    (root / "SHA256SUMS.txt").write_text("")
    with pytest.raises(FetchError, match="lists no file"):
        fetch("mitdb", tmp_path, base=base)


def test_without_a_network_one_line_says_so(tmp_path, capsys):
    words = ["fetch", "mitdb", "--out", str(tmp_path), "--base", "http://127.0.0.1:9"]
    assert main(words) == 2
    told = capsys.readouterr().err
    assert "no connection to 127.0.0.1:9" in told
    assert "INFANTMON_RECORDINGS" in told
    assert told.count("\n") == 1


def test_the_command(site, tmp_path, capsys, monkeypatch):
    _, base = site
    monkeypatch.setenv("INFANTMON_RECORDINGS", str(tmp_path / "cache"))
    assert main(["fetch", "mitdb", "--base", base]) == 0
    assert "3 files, 3 loaded now, all checked" in capsys.readouterr().out
    assert (tmp_path / "cache" / "mitdb" / "100.dat").is_file()
