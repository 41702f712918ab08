"""Who may come in: the page itself and nobody else, each refusal one line.

The checks follow RFC 6454 (Origin), RFC 9110 section 7.2 (Host) and W3C Fetch Metadata; that a name can be made to
point at the loopback (DNS rebinding) is why the Host is looked at.
"""

import asyncio

import pytest

from stylemeter.web.door import BODY_BYTES_MAX, PAGE_POLICY, Door

TOKEN, PORT = "t0ken-of-this-test", 4711
HOST = f"127.0.0.1:{PORT}"


def ask(path=f"/{TOKEN}/x", method="GET", headers=None, messages=None, token=TOKEN):
    """Status, headers and body of one request, and what the application behind the door saw."""
    seen, sent = [], []

    async def app(scope, receive, send):
        message = await receive()
        seen.append((scope["path"], message["body"]))
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"in"})

    given = {"host": HOST, **(headers or {})}
    scope = {
        "type": "http",
        "path": path,
        "method": method,
        "headers": [(k.encode(), v.encode("latin-1")) for k, v in given.items() if v is not None],
    }
    waiting = list(messages or [{"type": "http.request", "body": b"", "more_body": False}])

    async def receive():
        if not waiting:
            await asyncio.sleep(3600)
        return waiting.pop(0)

    async def send(message):
        sent.append(message)

    asyncio.run(Door(app, token, lambda: PORT)(scope, receive, send))
    head = {k.decode(): v.decode() for k, v in sent[0]["headers"]}
    return sent[0]["status"], head, b"".join(m.get("body", b"") for m in sent[1:]), seen


def test_the_page_comes_in_and_the_token_stays_outside():
    status, headers, body, seen = ask()
    assert (status, body, seen) == (200, b"in", [("/x", b"")])
    assert headers["content-security-policy"] == PAGE_POLICY
    assert "unsafe" not in PAGE_POLICY
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    ("status", "how"),
    [
        (404, {"path": "/"}),
        (404, {"path": "/wrong/x"}),
        (404, {"path": f"/{TOKEN}x/"}),
        (404, {"path": f"/x/{TOKEN}/"}),
        (404, {"path": "/\udcff/"}),
        (421, {"headers": {"host": "evil.example:4711"}}),
        (421, {"headers": {"host": "127.0.0.1:4712"}}),
        (421, {"headers": {"host": f"127.0.0.1.evil.example:{PORT}"}}),
        (421, {"headers": {"host": None}}),
        (403, {"headers": {"origin": "http://evil.example"}}),
        (403, {"headers": {"origin": "null"}}),
        (403, {"headers": {"origin": f"https://{HOST}"}}),
        (403, {"headers": {"sec-fetch-site": "cross-site"}}),
        (403, {"headers": {"sec-fetch-site": "same-site"}}),
        (403, {"method": "POST"}),
        (403, {"method": "DELETE", "headers": {"origin": "http://evil.example"}}),
    ],
)
def test_others_are_refused_in_one_line(status, how):
    refused, _, body, seen = ask(**how)
    assert refused == status
    assert seen == []
    assert body.startswith(b"stylemeter: ")
    assert body.count(b"\n") == 1
    assert body.endswith(b"\n")


def test_the_page_itself_may_change_something():
    mine = {"origin": f"http://{HOST}", "sec-fetch-site": "same-origin"}
    parts = [
        {"type": "http.request", "body": b"ab", "more_body": True},
        {"type": "http.request", "body": b"c", "more_body": False},
    ]
    assert ask(method="POST", headers=mine, messages=parts)[3] == [("/x", b"abc")]
    there = {"host": f"localhost:{PORT}", "origin": f"http://localhost:{PORT}"}
    assert ask(method="POST", headers=there)[0] == 200


@pytest.mark.parametrize("length", [str(2**31), str(BODY_BYTES_MAX + 1), "-1", "many"])
def test_a_body_said_to_be_too_large_is_not_waited_for(length):
    mine = {"origin": f"http://{HOST}", "content-length": length}
    assert ask(method="POST", headers=mine, messages=[])[0] == 413


def test_a_body_that_grows_too_large_is_cut_off():
    mine = {"origin": f"http://{HOST}"}
    piece = bytes(BODY_BYTES_MAX // 4 + 1)
    parts = [{"type": "http.request", "body": piece, "more_body": True} for _ in range(9)]
    status, _, _, seen = ask(method="POST", headers=mine, messages=parts)
    assert (status, seen) == (413, [])


def test_a_slow_body_is_given_up(monkeypatch):
    monkeypatch.setattr("stylemeter.web.door.PAUSE_SECONDS", 0.05)
    mine = {"origin": f"http://{HOST}"}
    parts = [{"type": "http.request", "body": b"a", "more_body": True}]
    assert ask(method="POST", headers=mine, messages=parts)[0] == 408


def test_a_sender_that_goes_away():
    mine = {"origin": f"http://{HOST}"}
    assert ask(method="POST", headers=mine, messages=[{"type": "http.disconnect"}])[3] == []
