"""nginx reads its configuration for each place, as it is kept and with what it offers turned on."""

import re
import shutil
import socket
import ssl
import subprocess
from pathlib import Path

import proxied
import pytest
import tools
from processes import free_port
from proxied import COMMON, ROOT, certified, proxy
from stub_instances import stub
from wire import exchange, message, read_reply

PLACES = ("compose", "kubernetes", "machine")
CACHE = "proxy_cache_path cache "


def laid_out(folder: Path, place: str) -> Path:
    """The files as they lie in that place, but for ports that are not free here."""
    shutil.copytree(COMMON, folder / "common")
    shutil.copytree(ROOT / "deploy" / "nginx" / place, folder / "place")
    (folder / "written").mkdir()
    server = folder / "place" / "server.conf"
    free = f"listen 127.0.0.1:{free_port()} "
    server.write_text(re.sub(r"^listen \d+ ", free, server.read_text(), flags=re.MULTILINE))
    return folder


def turn_on(file: Path, start: str) -> None:
    """Make the commented line that begins so a directive."""
    text, found = re.subn(f"^# (?={start})", "", file.read_text(), flags=re.MULTILINE)
    assert found == 1
    file.write_text(text)


def complaints(folder: Path) -> str:
    """What nginx says of the configuration; nothing where it is sound."""
    tools.needed("nginx")
    command = [*proxied.command(folder), "-t", "-q"]
    return subprocess.run(command, capture_output=True, text=True, timeout=30).stderr


@pytest.mark.parametrize("place", PLACES)
def test_nginx_reads_it(tmp_path: Path, place: str) -> None:
    assert complaints(laid_out(tmp_path / "nginx", place)) == ""


@pytest.mark.parametrize("place", PLACES)
def test_nginx_reads_it_with_a_cache(tmp_path: Path, place: str) -> None:
    folder = laid_out(tmp_path / "nginx", place)
    turn_on(folder / "place" / "http.conf", CACHE)
    turn_on(folder / "place" / "server.conf", "include cache.conf;")
    assert complaints(folder) == ""


@pytest.mark.parametrize("place", PLACES)
def test_the_cache_is_kept_as_its_file_says(place: str) -> None:
    said = re.search(rf"^# +({CACHE}.*)$", (COMMON / "cache.conf").read_text(), re.MULTILINE)
    assert said
    http = (ROOT / "deploy" / "nginx" / place / "http.conf").read_text()
    assert f"# {said[1]}\n" in http


def test_a_slip_is_seen(tmp_path: Path) -> None:
    folder = laid_out(tmp_path / "nginx", "machine")
    (folder / "place" / "http.conf").write_text("include instances.conf;")
    assert "emerg" in complaints(folder)


def test_only_the_ingress_controller_says_where_a_request_came_from() -> None:
    trusted = {
        place: "set_real_ip_from" in (ROOT / "deploy/nginx" / place / "http.conf").read_text()
        for place in PLACES
    }
    assert trusted == {"compose": False, "kubernetes": True, "machine": False}


def test_a_proxy_in_front_that_is_named_says_who_asks_and_nobody_else(tmp_path: Path) -> None:
    said = {"X-Forwarded-For": "203.0.113.7", "X-Forwarded-Proto": "https"}
    believed = (COMMON / "trust-proxy.conf").read_text()
    assert believed.count("192.0.2.1") == 2
    seen = []
    for trusted in ("127.0.0.1", "192.0.2.1"):
        http = believed.replace("192.0.2.1", trusted)
        with stub() as one, proxy(tmp_path / trusted, [one.port], http=http) as front:
            exchange(front.port, message("GET", "/", headers=said))
        headers = one.asked[-1].headers
        seen.append((headers["x-forwarded-for"], headers["x-forwarded-proto"]))
    assert seen == [("203.0.113.7", "https"), ("127.0.0.1", "http")]


def commented(file: Path, start: str) -> str:
    """The directives of a comment, from the line that begins so to the end of its block."""
    lines = [line.removeprefix("#").strip() for line in file.read_text().splitlines()]
    first = lines.index(start)
    return "\n".join(lines[first : lines.index("", first)])


def test_who_comes_without_tls_is_sent_on_with_the_method(tmp_path: Path) -> None:
    plain = free_port()
    block = commented(COMMON / "tls.conf", "server {")
    block = block.replace("listen 80 ", f"listen 127.0.0.1:{plain} ")
    block = block.replace("listen [::]:80 default_server;", "")
    with stub() as one, proxy(tmp_path / "nginx", [one.port], http=block):
        reply = exchange(plain, message("POST", "/v1/x?a=1", b"{}"))
    assert reply.status == 308
    assert reply.header("Location") == "https://arrowloft.example/v1/x?a=1"
    assert not one.asked


def test_tls_is_spoken_and_promised(tmp_path: Path) -> None:
    certificate, key = certified(tmp_path)
    port = free_port()
    spoken = f"listen 127.0.0.1:{port} ssl http2;\nssl_certificate {certificate};\n"
    spoken += f"ssl_certificate_key {key};\ninclude tls.conf;"
    context = ssl.create_default_context(cafile=str(certificate))
    with stub() as one, proxy(tmp_path / "nginx", [one.port], server=spoken):
        with (
            socket.create_connection(("127.0.0.1", port), timeout=10) as raw,
            context.wrap_socket(raw, server_hostname="localhost") as line,
        ):
            line.sendall(message("GET", "/healthz"))
            reply, _ = read_reply(line)
            assert line.version() == "TLSv1.3"
        assert reply.header("Strict-Transport-Security") == "max-age=63072000"
        assert one.asked[-1].headers["x-forwarded-proto"] == "https"
        host = {"Host": f"localhost:{port}"}
        reply = exchange(port, message("POST", "/v1/x?a=1", b"{}", headers=host))
        assert reply.status == 308
        assert reply.header("Location") == f"https://localhost:{port}/v1/x?a=1"
