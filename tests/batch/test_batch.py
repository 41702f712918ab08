"""A class placed from a folder: nothing lost, nothing done twice, nothing leaked; its numbers against scipy."""

import base64
import csv
import io
import json
import os
import re
import shutil
import unicodedata

import pytest
from helpers.class_files import HOSTILE, PROFILE, TAKES, abc, contents, small_class

from stylemeter.batch.ledger import Ledger, safe_names
from stylemeter.batch.run import key_file, run
from stylemeter.batch.worker import BatchSettings
from stylemeter.errors import UsageError
from stylemeter.features import CATALOG, HABITS
from stylemeter.practice.advice import load_advice
from stylemeter.report.classroom.overview import class_view, csv_text, keys_words, overview_html, write_overview
from stylemeter.report.classroom.terminal import class_text
from stylemeter.style.profile import load_profile
from stylemeter.takes.class_rows import _tail, common, groups, pupil, register_order, spread

WISHES = BatchSettings(PROFILE)


@pytest.fixture(autouse=True)
def _no_home(tmp_path, monkeypatch):
    monkeypatch.setenv("STYLEMETER_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("STYLEMETER_CACHE", str(tmp_path / "cache"))


def whole(folder, out, settings=WISHES, **more):
    """Run a batch and write its overview."""
    outcome = run(folder, out, settings, **more)
    view = class_view(
        outcome.rows,
        load_profile(PROFILE),
        load_advice(None),
        settings.coverage,
        unread=[(u.name, u.reason) for u in outcome.unread],
        passed_over=outcome.passed_over,
        anonymous=settings.anonymous,
    )
    write_overview(view, out)
    return outcome, view


def five_files(folder):
    """Two takes, two tunes in one file, one file that is none, one of no known kind."""
    folder.mkdir()
    for name in ("take-1.musicxml", "take-2.musicxml"):
        (folder / name).write_bytes((TAKES / name).read_bytes())
    (folder / "both.abc").write_text(abc(1, "One") + "\n" + abc(2, "Other", number=2))
    (folder / "noise.mid").write_bytes(bytes(range(40, 90)))
    (folder / "notes.pdf").write_bytes(b"%PDF")
    return folder


@pytest.fixture
def solos(tmp_path):
    return five_files(tmp_path / "class")


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    """The same placed once, to be copied by whoever goes on from there."""
    place = tmp_path_factory.mktemp("finished")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("STYLEMETER_HOME", str(place / "home"))
        patch.setenv("STYLEMETER_CACHE", str(place / "cache"))
        whole(five_files(place / "class"), place / "out")
    return place


@pytest.fixture
def out(finished, tmp_path):
    """A finished result, for a folder called `class` beside it."""
    return shutil.copytree(finished / "out", tmp_path / "out")


def test_each_solo_has_a_page_and_a_row_and_a_bad_file_stops_nothing(solos, tmp_path):
    told = []
    seen = []
    outcome, view = whole(
        solos, tmp_path / "out", on_error=lambda e: told.append(str(e)), progress=lambda done, total: seen.append(done)
    )
    assert [row["name"] for row in outcome.rows] == ["both.1", "both.2", "take-1", "take-2"]
    assert {p.name for p in (tmp_path / "out" / "pages").iterdir()} == {f"{r['name']}.html" for r in outcome.rows}
    assert outcome.done == 4
    assert seen == [1, 2, 3, 4]
    [line] = told
    assert "noise.mid" in line
    [(name, reason)] = view.unread
    assert name == "noise.mid"
    assert "MIDI" in reason
    assert view.passed_over == ["notes.pdf"]
    # take 1 was written to run scales in even eighths, take 2 to do neither (corpus/evening-class/README.md)
    verdicts = {r["name"]: {n: h["verdict"] for n, h in r["habits"].items()} for r in outcome.rows}
    assert verdicts["take-1"]["runs"] == verdicts["take-1"]["rhythm"] == "shown"
    assert verdicts["take-2"]["runs"] == verdicts["take-2"]["rhythm"] == "none"
    assert [row["name"] for row in view.rows] == ["both.1", "both.2", "take-1", "take-2"]


def test_a_batch_says_what_place_says(solos, out):
    from stylemeter.practice.findings import find_out
    from stylemeter.reading import read

    profile = load_profile(PROFILE)
    row = json.loads((out / "records" / "take-2.json").read_text())
    placed = find_out(read(solos / "take-2.musicxml")[0], profile, [profile], load_advice(None)).placement
    assert {h.name: (h.verdict, 100 * h.share) for h in placed.habits} == {
        n: (h["verdict"], h["percentile"]) for n, h in row["habits"].items()
    }
    assert row["outside"] == len(placed.outside)


def stamps(out):
    return {p.name: (p.stat().st_ino, p.stat().st_mtime_ns) for p in (out / "pages").iterdir()}


def test_what_is_done_is_not_done_again(solos, out):
    before, first = contents(out), stamps(out)
    again, _ = whole(solos, out)
    assert again.done == 0
    assert contents(out) == before
    assert stamps(out) == first
    # one file changed, one page damaged: these two, and no other
    (solos / "both.abc").write_text(abc(1, "One"))
    (out / "pages" / "take-1.html").write_bytes(b"half a page")
    third, _ = whole(solos, out)
    assert third.done == 2
    assert stamps(out)["take-2.html"] == first["take-2.html"]
    assert (out / "pages" / "take-1.html").read_bytes() == before["pages/take-1.html"]
    # the file's two tunes became one: the pages of the old ones are gone
    assert {p.stem for p in (out / "pages").iterdir()} == {"both", "take-1", "take-2"}
    anew, _ = whole(solos, out, again=True)
    assert anew.done == 3


def test_another_option_places_anew(tmp_path):
    folder = small_class(tmp_path / "class", 1)
    whole(folder, tmp_path / "out")
    outcome, _ = whole(folder, tmp_path / "out", BatchSettings(PROFILE, coverage=0.8))
    assert outcome.done == 1


def test_a_file_half_done_goes_on_with_the_other_tunes(solos, out):
    before = contents(out)
    ledger = out / "records" / "ledger.jsonl"
    lines = ledger.read_text().splitlines()
    assert len(lines) == 4
    # as if killed while the second tune was written: no line of its own, one cut short, a file left aside
    ledger.write_text("\n".join(line for line in lines if '"both.2"' not in line) + '\n{"name": "bo')
    (out / "pages" / ".both.2.html.4711.part").write_bytes(b"<!DOCT")
    outcome, _ = whole(solos, out)
    assert outcome.done == 1
    assert contents(out) == before


def test_a_ledger_cannot_name_files_outside(out):
    ledger = out / "records" / "ledger.jsonl"
    line = json.loads(ledger.read_text().splitlines()[0]) | {"name": "../../class/take-1"}
    ledger.write_text(json.dumps(line) + "\n")
    assert Ledger(out).entries() == {}


def test_workers_give_the_same_bytes(solos, tmp_path, out):
    whole(solos, tmp_path / "two", workers=2)
    assert contents(tmp_path / "two") == contents(out)


def test_the_folder_may_hold_its_own_result(tmp_path):
    folder = small_class(tmp_path / "class", 2)
    first, _ = whole(folder, folder / "result")
    again, _ = whole(folder, folder / "result")
    assert (len(first.rows), len(again.rows), again.done) == (2, 2, 0)
    assert again.passed_over == []


def test_a_folder_of_something_else_is_left_alone(tmp_path):
    folder = small_class(tmp_path / "class", 1)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "index.html").write_text("my own page")
    with pytest.raises(UsageError, match="other files"):
        run(folder, tmp_path / "mine", WISHES)
    assert (tmp_path / "mine" / "index.html").read_text() == "my own page"
    with pytest.raises(UsageError, match="no folder"):
        run(tmp_path / "nowhere", tmp_path / "out", WISHES)


def test_two_batches_do_not_write_one_folder(tmp_path):
    folder = small_class(tmp_path / "class", 1)
    with Ledger(tmp_path / "out").held(), pytest.raises(UsageError, match="another batch"):
        run(folder, tmp_path / "out", WISHES)


def test_a_fault_of_ours_costs_one_solo(solos, tmp_path, monkeypatch):
    from stylemeter.report.solo import page

    plain = page.page_html

    def broken(findings, **more):
        if findings.placement.melody.title == "One":
            raise ZeroDivisionError("division by zero")
        return plain(findings, **more)

    monkeypatch.setattr(page, "page_html", broken)
    told = []
    outcome, _ = whole(solos, tmp_path / "out", on_error=lambda e: told.append(str(e)))
    assert [row["name"] for row in outcome.rows] == ["both.2", "take-1", "take-2"]
    assert any("both.abc: solo 1 could not be placed (ZeroDivisionError" in line for line in told)


def test_a_style_too_small_for_limits_is_said_not_hidden(tmp_path):
    # the class's own norm, the way the documentation says; a class of four is too small for one
    from stylemeter.style.fit import fit

    folder = small_class(tmp_path / "class", 4)
    fit(folder, "term-1", folder=tmp_path / "home" / "profiles" / "term-1")
    outcome = run(folder, tmp_path / "out", BatchSettings("term-1"))
    assert {h["verdict"] for row in outcome.rows for h in row["habits"].values()} == {"unmeasured"}
    assert all("39" in row["reason"] for row in outcome.rows)
    view = class_view(outcome.rows, load_profile("term-1"), load_advice(None), 0.9)
    assert "39 are the least" in overview_html(view)


# -- names -------------------------------------------------------------------------------------------------------------


def every_text(out):
    """All that is written, the data inside pages and tables unpacked."""
    import pandas as pd

    for path in out.rglob("*"):
        yield path.name
        if path.suffix == ".parquet":
            yield pd.read_parquet(path).to_csv()
        elif path.is_file():
            text = path.read_text(encoding="utf-8")
            yield text
            yield from (base64.b64decode(found).decode() for found in re.findall(r"base64,([A-Za-z0-9+/=]+)", text))


def test_anonymous_leaves_no_name_title_or_path(tmp_path):
    folder = tmp_path / "Zorvath-evening"
    folder.mkdir()
    (folder / "Quillfeather.abc").write_text(abc(1, "Brandlewick"))
    score = (TAKES / "take-2.musicxml").read_text().replace("Lead guitar", "Snorkwood part")
    (folder / "Vexholm.musicxml").write_text(score)
    (folder / "Trundlebee.mid").write_bytes(b"Trundlebee is no melody")
    (folder / "Wimblecot.pdf").write_bytes(b"")
    outcome, view = whole(folder, tmp_path / "out", BatchSettings(PROFILE, anonymous=True))
    assert len(outcome.rows) == 2
    secret = re.compile(
        "Zorvath|Quillfeather|Brandlewick|Snorkwood|Vexholm|Trundlebee|Wimblecot|Lamp Oil|K\\.V\\.|" + tmp_path.name,
        re.IGNORECASE,
    )
    texts = [*every_text(tmp_path / "out"), class_text(view, tmp_path.__class__("index.html"), 2)]
    assert any("Solo 01" in text for text in texts)
    for text in texts:
        assert not secret.search(text), secret.search(text)
    assert view.passed_over == [""]
    # the same check finds the names where they are wanted
    whole(folder, tmp_path / "named")
    assert any(secret.search(text) for text in every_text(tmp_path / "named"))


def test_names_given_up_later_leave_the_folder(tmp_path):
    folder = tmp_path / "class"
    folder.mkdir()
    (folder / "Quillfeather.abc").write_text(abc(1, "Brandlewick"))
    whole(folder, tmp_path / "out")
    whole(folder, tmp_path / "out", BatchSettings(PROFILE, anonymous=True))
    assert not any(re.search("Quillfeather|Brandlewick", text) for text in every_text(tmp_path / "out"))


def test_hostile_names_are_shown_never_run(tmp_path):
    folder = tmp_path / "class"
    folder.mkdir()
    for i, (name, title) in enumerate(HOSTILE.items()):
        (folder / f"{name}.abc").write_text(abc(i, title), encoding="utf-8")
    bad = ["<img src=x onerror=alert(2)>.abc", "=1+1.abc", "\u202egpj.abc", "\U0001f3b8.abc", "con.abc", "a\nb.abc"]
    for i, name in enumerate(bad):
        (folder / name).write_text(abc(20 + i, ""), encoding="utf-8")
    outcome, view = whole(folder, tmp_path / "out")
    assert len(outcome.rows) == len(HOSTILE) + len(bad)
    page = (tmp_path / "out" / "index.html").read_text(encoding="utf-8")
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    assert not re.search(r"<img\b", page)
    assert len(re.findall(r"<script\b", page)) == 1  # the overview's own
    sheets = (tmp_path / "out" / "sheets.html").read_text(encoding="utf-8")
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in sheets
    assert not re.search(r"<(script|img)\b", sheets)
    assert "49" not in re.findall(r"<bdi>.*?</bdi>", page)
    assert "{{ 7*7 }}" in page
    for row in csv.reader(io.StringIO((tmp_path / "out" / "class.csv").read_text(encoding="utf-8"))):
        # numbers may be negative, texts must not begin as a formula does
        assert not any(re.match(r"\s*[=+@]|-(?![\d.])", cell) for cell in row)
    shown = class_text(view, tmp_path / "out" / "index.html", 0)
    assert not any(unicodedata.category(sign) in ("Cc", "Cf") for sign in shown.replace("\n", ""))
    assert all(len(line) <= 80 or str(tmp_path)[:20] in line for line in shown.splitlines())
    names = [p.name for p in (tmp_path / "out" / "pages").iterdir()]
    assert len(names) == len({n.casefold() for n in names}) == len(outcome.rows)
    assert all(re.fullmatch(r"[\w-]+(\.\d+)?\.html", name) for name in names)


def test_safe_names_differ_and_fit_a_file_system():
    names = safe_names(
        ["A", "a", "a-2", "x" * 500, "x" * 500, "..", "", "\u0301", "\udcff", "日本語" * 40, "NUL", "lpt1"]
    )
    assert len({n.casefold() for n in names}) == len(names)
    assert all(n and n[0] not in ".-" and len(os.fsencode(f".{n}.html.1234567.part")) < 255 for n in names)
    assert names[:3] == ["A", "a-2", "a-2-2"]


# -- what the class has together ---------------------------------------------------------------------------------------


def invented_rows(count, above=()):
    """Rows with nothing outside but the features named, above in every solo."""
    rows = []
    for i in range(count):
        features = {
            n: {"value": 0.5, "percentile": 50.0, "verdict": "above" if n in above else "within", "clear": False}
            for n in CATALOG
        }
        habits = {
            n: {"verdict": "shown" if i == 0 else "none", "percentile": 10.0 * i, "free": False, "reason": ""}
            for n in HABITS
        }
        counts = {"outside": len(above), "clear": 0, "measured": len(CATALOG), "expected": 0.1 * len(CATALOG)}
        rows.append({"name": f"s{i}", "habits": habits, "features": features, **counts})
    return rows


def test_the_spread_counts_and_finds_the_middle():
    found = spread(invented_rows(4))["runs"]
    assert (found["shown"], found["none"], found["unmeasured"]) == (1, 3, 0)
    assert found["median"] == 15.0
    assert spread([])["runs"]["median"] is None


def test_what_is_common_is_beyond_chance_and_held_by_half():
    [shared] = common(invented_rows(6, ["step_share"]), 0.9)
    assert (shared.name, shared.verdict, shared.count, shared.measured) == ("step_share", "above", 6, 6)
    assert shared.expected == pytest.approx(0.3)
    assert common(invented_rows(6), 0.9) == []
    assert common(invented_rows(2, ["step_share"]), 0.9) == []
    # three of six are half, but so are six by chance where a third lies outside
    some = [*invented_rows(3, ["step_share"]), *invented_rows(3)]
    rare, frequent = ([row | {"expected": share * len(CATALOG)} for row in some] for share in (0.01, 0.9))
    assert [s.count for s in common(rare, 0.99)] == [3]
    assert common(frequent, 0.99) == []


@pytest.mark.parametrize(("count", "trials", "chance"), [(0, 5, 0.05), (3, 12, 0.05), (12, 12, 0.2), (40, 100, 0.3)])
def test_the_binomial_tail_is_scipys(count, trials, chance):
    from scipy.stats import binom

    assert _tail(count, trials, chance) == pytest.approx(float(binom.sf(count - 1, trials, chance)), rel=1e-12)


def _named(path, name="s", first="", work=True, **more):
    row = invented_rows(1)[0] | {"name": name, "reason": "", "first": {"name": first, "work": work}}
    return row | {"solo": {"path": path, "title": "A title", "key": "C major", "key_source": "estimated"}} | more


def test_a_pupil_is_the_folder_s_or_file_s_name_and_stands_in_register_order():
    paths = ["Ben 10.abc", "ben 9.abc", "Ada/week-2.mid", "Ada/week-1.mid", "Cleo.abc"]
    rows = [_named(path) for path in paths]
    assert [pupil(row) for row in rows] == ["Ben 10", "ben 9", "Ada", "Ada", "Cleo"]
    assert [row["solo"]["path"] for row in register_order(rows)] == [
        *("Ada/week-1.mid", "Ada/week-2.mid", "ben 9.abc", "Ben 10.abc", "Cleo.abc")
    ]
    assert pupil(_named("Ada.abc", "Ada.2")) == "Ada (2)"


def test_who_works_on_what_the_largest_group_first():
    rows = [
        _named("a.abc", first="space"),
        _named("b.abc", first="runs"),
        _named("c.abc", first="space"),
        _named("d.abc", first="root", work=False),
        _named("e.abc", work=False),
        _named("f.abc", reason="too short"),
    ]
    found = [(g.kind, g.habit, [pupil(row) for row in g.rows]) for g in groups(rows)]
    assert found == [
        ("work", "space", ["a", "c"]),
        ("work", "runs", ["b"]),
        ("listen", "root", ["d"]),
        ("keep", "", ["e"]),
        ("untold", "", ["f"]),
    ]


def test_a_class_read_in_many_keys_is_warned():
    keys = ["C major", "A minor", "G major", "C major"]
    rows = [_named(f"{i}.abc") for i in range(4)]
    for row, key in zip(rows, keys, strict=True):
        row["solo"]["key"] = key
    assert keys_words(rows).startswith("The class is read in 3 keys: C major (2), ")
    for row in rows:
        row["solo"]["key_source"] = "given"
    assert keys_words(rows) == ""


def test_numbers_stay_when_a_file_is_added_and_the_key_file_tells_them(tmp_path):
    folder = tmp_path / "class"
    folder.mkdir()
    for name in ("Ben", "Dan"):
        (folder / f"{name}.abc").write_text(abc(1, name))
    settings = BatchSettings(PROFILE, anonymous=True)
    whole(folder, tmp_path / "out", settings)
    before = {p.name: p.read_bytes() for p in (tmp_path / "out" / "pages").iterdir()}
    (folder / "Ada.abc").write_text(abc(2, "Ada"))
    outcome, _ = whole(folder, tmp_path / "out", settings)
    assert outcome.done == 1
    after = {p.name: p.read_bytes() for p in (tmp_path / "out" / "pages").iterdir()}
    assert before.items() <= after.items()
    key = key_file(tmp_path / "out")
    assert key.parent == tmp_path
    rows = list(csv.reader(io.StringIO(key.read_text())))
    assert rows == [["number", "file"], ["1", "Ben.abc"], ["2", "Dan.abc"], ["3", "Ada.abc"]]
    (folder / "Ben.abc").unlink()
    whole(folder, tmp_path / "out", settings)
    assert sorted(p.name for p in (tmp_path / "out" / "pages").iterdir()) == ["Solo-02.html", "Solo-03.html"]


def test_every_solo_has_a_sheet_and_its_page_leads_back(out):
    sheets = (out / "sheets.html").read_text(encoding="utf-8")
    assert sheets.count('<section class="one-sheet">') == 4
    ids = re.findall(r' id="([^"]+)"', sheets)
    assert len(ids) == len(set(ids))
    assert set(re.findall(r'<use href="#([^"]+)"', sheets)) <= set(ids)
    assert "Work on " in sheets
    assert 'href="../index.html"' in (out / "pages" / "take-1.html").read_text(encoding="utf-8")
    assert "sheet" not in json.loads((out / "class.json").read_text())["solos"][0]


def test_a_class_too_small_for_a_norm_has_its_own_middle_told_as_such(out):
    page = (out / "index.html").read_text(encoding="utf-8")
    assert "4 solos are too few for a norm of their own, which takes 39 different tunes" in page
    values = sorted(s["features"]["step_share"]["value"] for s in json.loads((out / "class.json").read_text())["solos"])
    middle = (values[1] + values[2]) / 2
    assert f'<th scope="row">steps</th><td>{100 * middle:.0f}%</td>' in page


def test_the_tables_agree(out):
    import pandas as pd

    written = pd.read_csv(out / "class.csv")
    kept = pd.read_parquet(out / "class.parquet")
    assert list(written.columns) == list(kept.columns)
    assert written["runs_percentile"].tolist() == pytest.approx(kept["runs_percentile"].tolist())
    assert kept["solo"].tolist() == ["both.abc", "both.abc", "take-1.musicxml", "take-2.musicxml"]
    # a tune without chords can't be measured against them: that is no 0
    assert kept.set_index("page")["chord_tone_share"].isna().to_dict() == {
        f"pages/{name}.html": name.startswith("both") for name in ("take-1", "take-2", "both.1", "both.2")
    }
    assert csv_text([]).count("\n") == 1
    document = json.loads((out / "class.json").read_text())
    assert [s["name"] for s in document["solos"]] == [p[6:-5] for p in kept["page"]]
