"""What the page may ask, over the loopback as a browser does."""

import json
import socket
import time
import zipfile
from io import BytesIO
from pathlib import Path

import pytest
from helpers.places import INPUTS, ROOT

from stylemeter.reading import read

TAKE = ROOT / "corpus" / "evening-class" / "take-1.musicxml"


@pytest.fixture
def client(served):
    with served.client() as client:
        yield client


@pytest.fixture
def table(client):
    return client.post("api/read", params={"name": TAKE.name}, content=TAKE.read_bytes()).json()["solos"][0]["table"]


def test_the_page_and_its_parts_are_there(client, served):
    page = client.get("")
    assert page.status_code == 200
    assert page.headers["content-type"].startswith("text/html")
    names = ["page.js", "stand.js", "lesson.js", "shelf.js", "notes.js", "asking.js", "recorder.js", "worklet.js"]
    for name in [*names, "style.css"]:
        assert client.get(f"static/{name}").status_code == 200, name
    for name in ("static/nothing.js", "static/..%2Fapp.py", "static/%2e%2e/app.py", "pages/1.html", "anything"):
        assert client.get(name).status_code == 404, name


def test_the_styles_and_the_habits_have_names(client):
    told = client.get("api/styles").json()
    assert "pop-songs" in {s["name"] for s in told["styles"]}
    assert {"runs", "stepwise", "root", "scale", "rhythm", "space"} <= set(told["habits"])


def test_a_file_is_read_as_the_command_reads_it(table):
    [melody] = read(TAKE)
    assert len(table["notes"]) == len(melody)
    assert table["solo"]["key"]["name"] == melody.key.name


def test_words_on_the_page_change_the_reading(client, table):
    answer = client.post("api/read", params={"kind": "json", "key": "A minor"}, content=json.dumps(table))
    assert answer.json()["solos"][0]["table"]["solo"]["key"]["name"] == "A minor"


def test_the_lesson_says_what_the_command_says_and_follows_a_correction(client, table):
    told = client.post("api/lesson", json={"table": table, "style": "pop-songs"}).json()
    assert told["told"]["habits"]["runs"] == "shown"
    page = client.get(told["url"])
    assert page.status_code == 200
    assert "frame-ancestors 'self'" in page.headers["content-security-policy"]
    table["notes"] = [n | {"pitch": 60} for n in table["notes"]]
    after = client.post("api/lesson", json={"table": table, "style": "pop-songs"}).json()
    assert after["told"]["habits"]["runs"] != "shown"


@pytest.mark.parametrize(
    ("method", "path", "how"),
    [
        ("POST", "api/read", {"content": b""}),
        ("POST", "api/read", {"content": b"\x00" * 100}),
        ("POST", "api/read", {"content": b"X:1\nK:C\nCDEF|", "params": {"tempo": "fast"}}),
        ("POST", "api/read", {"content": b"X:1\nK:C\nCDEF|", "params": {"key": "H#"}}),
        ("POST", "api/read", {"content": b"X:1\nK:C\nCDEF|", "params": {"kind": "exe"}}),
        ("POST", "api/read", {"content": b"X:1\nK:C\nCDEF|", "params": {"columns": "a"}}),
        ("POST", "api/lesson", {"content": b"{"}),
        ("POST", "api/lesson", {"content": b"[" * 100_000}),
        ("POST", "api/lesson", {"json": {"table": [], "style": ""}}),
        ("POST", "api/lesson", {"json": {"table": {}, "style": 7}}),
        ("POST", "api/lesson", {"json": {"table": {"notes": 3}, "style": "pop-songs"}}),
        ("POST", "api/shelf", {"json": {"table": {}, "player": "a", "title": "b"}}),
        ("GET", "api/take", {"params": {"player": "..", "name": "passwd"}}),
        ("DELETE", "api/take", {"params": {"player": "../..", "name": "etc"}}),
        ("POST", "api/take/original", {"params": {"player": "a", "name": "b"}, "content": b"x"}),
        ("POST", "api/progress", {"json": {"player": "nobody", "style": "pop-songs"}}),
        ("POST", "api/class", {"json": {}}),
        ("GET", "api/jobs/99", {}),
        ("GET", "api/harmony", {"params": {"along": "chords", "chords": "H7 |"}}),
        ("GET", "api/harmony", {"params": {"along": "drone", "beats": "99"}}),
    ],
)
def test_what_is_wrong_is_one_line_and_nothing_is_written(client, served, method, path, how):
    before = sorted(served.shelf.rglob("*"))
    answer = client.request(method, path, **how)
    assert answer.status_code == 200
    line = answer.json()["error"]
    assert line
    assert "\n" not in line
    assert "Traceback" not in line
    assert sorted(served.shelf.rglob("*")) == before


@pytest.mark.parametrize("path", sorted((INPUTS / "sixty").iterdir()), ids=lambda p: p.name)
def test_anything_may_be_dropped(client, path):
    answer = client.post("api/read", params={"name": path.name}, content=path.read_bytes())
    assert answer.status_code == 200
    if "error" in answer.json():
        assert answer.json()["error"].startswith(path.name)
    else:
        assert answer.json()["solos"]


def test_a_take_is_kept_opened_and_deleted(client, served, table):
    told = client.post("api/lesson", json={"table": table, "style": "pop-songs"}).json()["told"]
    kept = client.post(
        "api/shelf", json={"table": table, "player": "K.V.", "title": "<b>Lane</b>", "date": "2026-03-02", "told": told}
    ).json()
    client.post("api/take/original", params={**kept, "file": TAKE.name}, content=TAKE.read_bytes())
    [row] = client.get("api/shelf").json()
    assert (row["player"], row["date"], row["title"]) == ("K V", "2026-03-02", "<b>Lane</b>")
    assert row["told"]["habits"]["runs"] == "shown"
    again = client.get("api/take", params=kept).json()
    assert again["solos"][0]["table"]["notes"] == table["notes"]
    with zipfile.ZipFile(BytesIO(client.get("api/export").content)) as archive:
        assert archive.read("K V/as it came/2026-03-02 b Lane b.musicxml") == TAKE.read_bytes()
    assert len(read(served.shelf / "K V" / f"{kept['name']}.json")[0]) == len(table["notes"])
    client.delete("api/take", params=kept)
    assert client.get("api/shelf").json() == []


def test_progress_and_the_class(client, table):
    kept = [
        client.post("api/shelf", json={"table": table, "player": p, "title": f"take {i}"}).json()
        for i, p in enumerate(("A", "A", "B"))
    ]
    page = client.post("api/progress", json={"player": "A", "style": "pop-songs"}).json()["url"]
    assert client.get(page).status_code == 200
    number = client.post("api/class", json={"style": "pop-songs"}).json()["job"]
    for _ in range(600):
        state = client.get(f"api/jobs/{number}").json()
        if state["url"] or state["error"]:
            break
        time.sleep(0.1)
    assert state == {"done": 3, "total": 3, "url": f"jobs/{number}/class/index.html", "error": ""}
    assert client.get(state["url"]).status_code == 200
    assert client.get(f"jobs/{number}/class/../../../etc/passwd").status_code == 404
    for take in kept:
        client.delete("api/take", params=take)


def test_a_class_can_be_stopped(client, table):
    kept = [client.post("api/shelf", json={"table": table, "player": "A", "title": f"{i}"}).json() for i in range(6)]
    number = client.post("api/class", json={"style": "pop-songs"}).json()["job"]
    client.delete(f"api/jobs/{number}")
    for _ in range(600):
        state = client.get(f"api/jobs/{number}").json()
        if state["url"] or state["error"]:
            break
        time.sleep(0.1)
    assert state["error"] == "stopped"
    for take in kept:
        client.delete("api/take", params=take)


def test_harmony_under_a_recording(client):
    """Dm7 and G7 by their tones (D F A C, G B D F: any handbook of harmony)."""
    told = client.get("api/harmony", params={"along": "chords", "chords": "Dm7 | G7 |", "beats": 4}).json()
    assert [(s["at"], s["to"], {p % 12 for p in s["pitches"]}) for s in told["sounds"][:2]] == [
        (0, 4, {2, 5, 9, 0}),
        (4, 8, {7, 11, 2, 5}),
    ]
    drone = client.get("api/harmony", params={"along": "drone", "key": "D dorian", "beats": 3}).json()
    assert {p % 12 for p in drone["sounds"][0]["pitches"]} == {2, 9}


def test_strangers_stay_outside(served):
    import httpx

    token = served.address.rstrip("/").rsplit("/", 1)[1]
    port = int(served.origin.rsplit(":", 1)[1])
    assert httpx.get(f"{served.origin}/").status_code == 404
    assert httpx.get(served.address, headers={"host": f"evil.example:{port}"}).status_code == 421
    evil = {"origin": "http://evil.example"}
    assert httpx.post(f"{served.address}api/class", headers=evil, data={"style": "pop-songs"}).status_code == 403
    # a body of 2 GiB is refused by what it says of itself
    with socket.create_connection(("127.0.0.1", port)) as line:
        head = f"POST /{token}/api/read HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nOrigin: {served.origin}\r\n"
        line.sendall(f"{head}Content-Length: {2**31}\r\n\r\n".encode())
        assert b" 413 " in line.recv(1000).split(b"\r\n")[0]


def test_fifty_connections_at_once(served):
    port = int(served.origin.rsplit(":", 1)[1])
    lines = [socket.create_connection(("127.0.0.1", port)) for _ in range(50)]
    try:
        for line in lines:
            line.sendall(b"GET /slow HTTP/1.1\r\nHost: ")
    finally:
        for line in lines:
            line.close()
    with served.client() as client:
        assert client.get("api/styles").status_code == 200


def test_only_the_loopback_is_listened_to(served):
    port = int(served.origin.rsplit(":", 1)[1])
    table = Path("/proc/net/tcp")
    if not table.is_file():
        pytest.skip("only Linux tells who listens where")
    rows = [row.split() for row in table.read_text(encoding="ascii").splitlines()[1:]]
    listening = {row[1] for row in rows if row[3] == "0A" and int(row[1].split(":")[1], 16) == port}
    assert listening == {f"0100007F:{port:04X}"}
