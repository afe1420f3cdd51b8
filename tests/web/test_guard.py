"""Who is refused: other sites, other names of this machine, missing tokens, large, malformed and slow bodies. The
server goes on serving.

Held against the rules of browsers: WHATWG Fetch (Origin, Sec-Fetch-Site), RFC 9110 (Host, 4xx), CSP level 3.
"""

from __future__ import annotations

import http.client
import socket
import time

import pytest

from pcbstator.web import guard, serve
from tests.web.served import Served


def test_the_page_is_served_with_a_strict_policy(wheel: Served) -> None:
    status, page, headers = wheel.ask("GET", "")
    assert status == 200 and page.startswith("<!doctype html>")
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'" and policy["script-src"] == "'self'" and policy["style-src"] == "'self'"
    assert policy["frame-ancestors"] == policy["base-uri"] == policy["form-action"] == "'none'"
    assert headers["referrer-policy"] == "no-referrer" and headers["x-content-type-options"] == "nosniff"
    assert "set-cookie" not in headers and "access-control-allow-origin" not in headers


@pytest.mark.parametrize(
    ("place", "headers", "expected"),
    [
        ("/", {}, 403),  # no token
        ("/" + 32 * "x" + "/", {}, 403),
        ("/api/start", {}, 403),
        ("", {"Origin": "https://example.org"}, 403),
        ("", {"Origin": "null"}, 403),
        ("", {"Origin": "http://127.0.0.1:1"}, 403),
        ("", {"Sec-Fetch-Site": "cross-site"}, 403),
        ("", {"Host": "example.org"}, 421),  # a name that was made to point here
        ("", {"Host": "127.0.0.1"}, 421),
        ("", {"Host": "127.0.0.1.example.org:80"}, 421),
    ],
)
def test_strangers_are_refused(wheel: Served, place: str, headers: dict[str, str], expected: int) -> None:
    status, words, told = wheel.ask("GET", place, headers=headers)
    assert status == expected and "doctype" not in words
    assert "content-security-policy" in told
    if not place.startswith("/"):
        assert wheel.ask("POST", "api/save", {"text": "gone"}, headers)[0] == expected
    assert wheel.ask("GET", "")[0] == 200


def test_localhost_is_a_name_of_this_machine(wheel: Served) -> None:
    named = wheel.host.replace("127.0.0.1", "localhost")
    assert wheel.ask("GET", "", headers={"Host": named, "Origin": f"http://{named}"})[0] == 200


@pytest.mark.parametrize(
    "name", ["../app.py", "..%2fapp.py", "%2e%2e/app.py", "..\\app.py", "/etc/passwd", "index.html/../../app.py"]
)
def test_nothing_but_the_files_of_the_page_is_served(wheel: Served, name: str) -> None:
    status, words, _ = wheel.ask("GET", f"static/{name}")
    assert status in (403, 404) and "import" not in str(words)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(wheel: Served, method: str) -> None:
    assert wheel.ask(method, "api/save")[0] == 405


@pytest.mark.parametrize(
    ("body", "headers", "expected"),
    [
        ("{", {}, 400),
        ("[1]", {}, 400),
        ('{"text": NaN}', {}, 400),
        (100_000 * "[", {}, 400),
        ('{"text": 1, "page": "a", "number": 1}', {}, 400),
        ('{"text": "\\ud800", "page": "a", "number": 1}', {}, 400),
        ('{"text": "", "page": "a", "number": 1.5}', {}, 400),
        ('{"text": "", "page": "a", "number": 1, "settings": []}', {}, 400),
        ("text=1", {"Content-Type": "application/x-www-form-urlencoded"}, 415),
        ("{}", {"Content-Length": str(guard.MOST_BYTES + 1)}, 413),
        ("x" * (guard.MOST_BYTES + 1), {}, 413),
    ],
)
def test_malformed_and_large_bodies_are_refused(
    wheel: Served, body: str, headers: dict[str, str], expected: int
) -> None:
    try:
        status = wheel.ask("POST", "api/answer", body, {"Content-Type": "application/json"} | headers, raw=True)[0]
    except (BrokenPipeError, ConnectionResetError):  # it is refused before all of it was sent
        status = expected
        assert expected == 413
    assert status == expected
    assert wheel.ask("GET", "")[0] == 200


def test_a_body_without_a_length_is_measured_as_it_comes(wheel: Served) -> None:
    connection = http.client.HTTPConnection(wheel.host, timeout=60)
    connection.putrequest("POST", wheel.base + "api/answer")
    connection.putheader("Content-Type", "application/json")
    connection.putheader("Transfer-Encoding", "chunked")
    connection.endheaders()
    part = 65536 * b" "
    with pytest.raises((BrokenPipeError, ConnectionResetError, AssertionError)):
        for _ in range(10 * guard.MOST_BYTES // len(part)):
            connection.send(b"10000\r\n" + part + b"\r\n")
        assert connection.getresponse().status != 413
    connection.close()
    assert wheel.ask("GET", "")[0] == 200


def test_slow_clients_are_let_go_and_do_not_hold_up_others(wheel: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "SECONDS", 0.3)
    monkeypatch.setattr(serve, "SECONDS_TO_ASK", 0.3)
    place = (wheel.host.split(":")[0], int(wheel.host.split(":")[1]))
    head = f"POST {wheel.base}api/answer HTTP/1.1\r\nHost: {wheel.host}\r\nContent-Type: application/json\r\n"
    with socket.create_connection(place) as mute, socket.create_connection(place) as slow:
        slow.sendall(f"{head}Content-Length: 100\r\n\r\n{{".encode())
        mute.sendall(head.encode())  # and never the end of its head
        assert wheel.ask("GET", "")[0] == 200
        slow.settimeout(20)
        mute.settimeout(20)
        assert slow.recv(100).split()[1] == b"408"
        assert mute.recv(100) == b""
    time.sleep(0)
    assert wheel.ask("GET", "")[0] == 200


def test_a_web_socket_is_refused(wheel: Served) -> None:
    asked = {"Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13",
             "Sec-WebSocket-Key": "AAAAAAAAAAAAAAAAAAAAAA=="}  # fmt: skip
    assert wheel.ask("GET", "/", headers=asked)[0] == 403
