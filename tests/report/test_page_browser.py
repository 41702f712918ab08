"""The page in a browser: loads nothing, runs nothing foreign, fits a phone and two sheets, works by keyboard."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import pytest
from helpers.pages import HOSTILE, calibrated, dense, found, take

from stylemeter.features import CATALOG
from stylemeter.placement.records import Stretch
from stylemeter.report.solo.document import to_document
from stylemeter.report.solo.page import page_html
from stylemeter.report.solo.words import texts

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """Pages by name: 32 bars, a take too short to measure, hostile names, and everything that can be said."""
    folder = tmp_path_factory.mktemp("pages")
    full = found(take(), calibrated(), uncertain=0.1)
    own = full.styles[0]
    styles = tuple(replace(own, style=s, profile=s, tie=s == "sea songs") for s in ("sea songs", "reels", "work songs"))
    cases = {
        "dense": dense(),
        "short": found(take("short")),
        "hostile": found(take(title=HOSTILE, part=HOSTILE, path=f"/tmp/{HOSTILE}.abc").with_remarks(HOSTILE)),
        "full": replace(full, styles=(*styles, own)),
        "crowded": _crowded(replace(full, styles=(*styles, own))),
    }
    for name, findings in cases.items():
        (folder / f"{name}.html").write_text(page_html(findings), encoding="utf-8")
    return folder


def _crowded(findings):
    """All six habits shown in eight bars each, and every trait outside: no page has more to print."""
    placed = findings.placement
    stretch = Stretch(1, 8, tuple(range(1, 65)))
    habits = [replace(h, verdict="shown", reason="", evidence=(stretch,)) for h in placed.habits]
    features = [replace(f, verdict="above", evidence=(stretch,)) if f.limits else f for f in placed.features]
    placed = replace(placed, habits=tuple(habits), features=tuple(features))
    return replace(findings, placement=placed)


class Watched:
    """A page opened, with what went wrong on it."""

    def __init__(self, browser, path: Path, **context) -> None:
        self.context = browser.new_context(accept_downloads=True, **context)
        self.page = self.context.new_page()
        self.wrong: list[str] = []
        self.page.on("console", lambda m: self.wrong.append(f"{m.type}: {m.text}"))
        self.page.on("pageerror", lambda e: self.wrong.append(f"error: {e}"))
        self.page.on("dialog", lambda d: (self.wrong.append(f"dialog: {d.message}"), d.dismiss()))
        self.page.on("request", self._request)
        self.own = path.as_uri()
        self.page.goto(self.own)

    def _request(self, request) -> None:
        if request.url != self.own and not request.url.startswith("data:"):
            self.wrong.append(f"request: {request.url}")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.context.close()


@pytest.mark.parametrize("name", ["dense", "short", "hostile", "full", "crowded"])
@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (1280, "dark")])
def test_no_error_no_request_no_overflow(browser, files, name, width, scheme):
    size = {"width": width, "height": 800}
    with Watched(browser, files / f"{name}.html", viewport=size, color_scheme=scheme) as seen:
        for details in seen.page.query_selector_all("details:not([open]) > summary"):
            details.evaluate("summary => { summary.parentElement.open = true; }")
        wide, inner = seen.page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        assert wide <= inner == width
        beyond = seen.page.evaluate(
            """[...document.querySelectorAll('body *')].filter((e) => {
                const box = e.getBoundingClientRect();
                return box.width > 1 && !e.closest('svg') && !e.matches('.unseen, .skip') &&
                    (box.right > innerWidth + 1 || box.left < -1);
            }).map((e) => e.outerHTML.slice(0, 120))"""
        )
        assert beyond == []
        assert seen.wrong == []


def test_dark_mode_is_dark_and_light_mode_light(browser, files):
    brightness = {}
    for scheme in ("light", "dark"):
        with Watched(browser, files / "dense.html", color_scheme=scheme) as seen:
            colour = seen.page.evaluate("getComputedStyle(document.body).backgroundColor")
            brightness[scheme] = sum(map(int, re.findall(r"\d+", colour)[:3]))
    assert brightness["light"] > 700
    assert brightness["dark"] < 120


@pytest.mark.parametrize(
    ("name", "width", "scheme"),
    [
        ("full", 1280, "light"),
        ("full", 360, "dark"),
        pytest.param("dense", 360, "light", marks=pytest.mark.slow),
        pytest.param("dense", 1280, "dark", marks=pytest.mark.slow),
        pytest.param("short", 1280, "light", marks=pytest.mark.slow),
    ],
)
def test_accessibility_rules_of_axe(browser, files, name, width, scheme):
    spec = find_spec("axe_playwright_python")
    rules = Path(spec.origin).parent / "axe.min.js" if spec and spec.origin else None
    if rules is None or not rules.is_file():
        pytest.skip("axe-core is not installed (pip install axe-playwright-python)")
    size = {"width": width, "height": 800}
    with Watched(browser, files / f"{name}.html", viewport=size, color_scheme=scheme) as seen:
        seen.page.evaluate(rules.read_text(encoding="utf-8"))
        # what is inside a picture is one picture to the rules: its name is what counts
        inside = '{include: [["html"]], exclude: [[".line > *"], [".plot > *"]]}'
        result = seen.page.evaluate(f'axe.run({inside}, {{resultTypes: ["violations"], preload: false}})')
        assert len(result["passes"]) > 20
        found_wrong = [(v["impact"], v["id"], v["nodes"][0]["html"][:200]) for v in result["violations"]]
        assert [v for v in found_wrong if v[0] in ("serious", "critical")] == []
        assert len(found_wrong) <= 2, found_wrong
        # and the rules do see a fault
        seen.page.evaluate("document.documentElement.removeAttribute('lang')")
        faulty = seen.page.evaluate('axe.run({runOnly: ["html-has-lang"]})')
        assert [v["id"] for v in faulty["violations"]] == ["html-has-lang"]


def _column(page, name: str, order: str = "visible") -> list[str]:
    rows = "#trait-table tr.row" if order == "all" else "#trait-table tr.row:not([hidden])"
    return page.evaluate(f"[...document.querySelectorAll('{rows} .{name}')].map((c) => c.dataset.sort)")


def _unfold(seen) -> None:
    seen.page.evaluate("document.getElementById('fold').open = true")


def test_sorting_works_by_keyboard(browser, files):
    with Watched(browser, files / "dense.html") as seen:
        page = seen.page
        _unfold(seen)
        before = _column(page, "place")
        page.focus("#grouped")
        page.keyboard.press("Space")
        assert not page.is_checked("#grouped")
        assert page.query_selector_all("#trait-table tr.kind") == []
        page.keyboard.press("Tab")  # the other box
        for _ in range(3):  # trait, this take, percentile
            page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.textContent") == "Percentile"
        page.keyboard.press("Enter")
        for way, falling in (("ascending", False), ("descending", True)):
            assert page.get_attribute("th.place", "aria-sort") == way
            values = _column(page, "place")
            known = [float(v) for v in values if v]
            assert known == sorted(known, reverse=falling)
            assert len(set(known)) > 20
            # what is unknown comes last, whichever way
            assert values[: len(known)] == [v for v in values if v]
            page.keyboard.press("Enter")
        assert len(_column(page, "place")) == len(before) == len(CATALOG)
        assert page.text_content("#sorted").startswith("Percentile: sorted")
        page.focus("#grouped")
        page.keyboard.press("Space")
        assert len(page.query_selector_all("#trait-table tr.kind")) == 8
        assert seen.wrong == []


def test_sorting_by_name_inside_the_kinds(browser, files):
    with Watched(browser, files / "dense.html") as seen:
        _unfold(seen)
        seen.page.focus("th.trait button")
        seen.page.keyboard.press("Enter")
        bodies = seen.page.evaluate(
            "[...document.querySelectorAll('#trait-table tbody')].map((b) => "
            "[...b.querySelectorAll('.trait')].map((c) => c.dataset.sort))"
        )
        assert len(bodies) == 8
        assert all(body == sorted(body, key=str.lower) for body in bodies)


def test_only_what_lies_outside_can_be_listed(browser, files):
    outside = [f.name for f in dense().placement.features if f.outside]
    with Watched(browser, files / "dense.html") as seen:
        _unfold(seen)
        seen.page.focus("#outside-only")
        seen.page.keyboard.press("Space")
        shown = seen.page.evaluate(
            "[...document.querySelectorAll('#trait-table tr.row')].filter((r) => r.offsetParent !== null).length"
        )
        assert shown == len(outside)


def test_meaning_on_demand_by_keyboard(browser, files):
    with Watched(browser, files / "dense.html") as seen:
        _unfold(seen)
        summary = seen.page.query_selector("#trait-table summary")
        text = "#trait-table details[open] p"
        assert seen.page.query_selector(text) is None
        summary.focus()
        seen.page.keyboard.press("Enter")
        assert seen.page.is_visible(text)
        seen.page.keyboard.press("Enter")
        assert seen.page.query_selector(text) is None


def test_the_first_tab_skips_to_the_lesson(browser, files):
    with Watched(browser, files / "dense.html") as seen:
        seen.page.keyboard.press("Tab")
        assert seen.page.evaluate("document.activeElement.className") == "skip"
        left = seen.page.evaluate("document.activeElement.getBoundingClientRect().left")
        assert left >= 0


def _sides(page) -> int:
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", page.pdf(format="A4", prefer_css_page_size=True)))


@pytest.mark.parametrize("name", ["dense", "short", "full", "crowded"])
def test_the_lesson_prints_on_one_side_and_the_statistics_only_if_asked(browser, files, name):
    with Watched(browser, files / f"{name}.html") as seen:
        assert _sides(seen.page) == 1
        for radio in seen.page.query_selector_all('input[name="habit"]'):
            radio.evaluate("r => { r.checked = true; }")
            assert _sides(seen.page) == 1
        seen.page.evaluate("document.getElementById('fold').open = true")
        assert 2 <= _sides(seen.page) <= 3


def test_the_first_screen_holds_the_sentence_music_and_exercise(browser, files):
    with Watched(browser, files / "dense.html", viewport={"width": 1280, "height": 800}) as seen:
        for part in (".lead", ".staff.wide .row:nth-child(3)", ".panel.for-runs .exercise", ".music .play"):
            box = seen.page.locator(part).first.bounding_box()
            assert box["y"] >= 0
            assert box["y"] + box["height"] <= 800, part


def test_one_habit_is_marked_at_a_time_and_chosen_by_keyboard(browser, files):
    visible = """[...document.querySelectorAll('.staff.wide [class*=on-]')]
        .filter((e) => getComputedStyle(e).display !== 'none')
        .map((e) => e.getAttribute('class').match(/on-(\\w+)/)[1])"""
    with Watched(browser, files / "dense.html", viewport={"width": 1280, "height": 800}) as seen:
        page = seen.page
        assert set(page.evaluate(visible)) == {"runs"}
        assert page.is_visible("#look-runs")
        page.focus("#show-runs")
        page.keyboard.press("ArrowRight")
        assert page.is_checked("#show-stepwise")
        assert set(page.evaluate(visible)) == {"stepwise"}
        assert page.is_visible("#look-stepwise")
        assert not page.is_visible("#look-runs")


#: Records what is asked of the sound, whose clock goes by hand.
_RECORDER = """
window.heard = [];
class Param { set value(v) { this.v = v; } get value() { return this.v; }
  setValueAtTime() {} exponentialRampToValueAtTime() {} linearRampToValueAtTime() {} }
class Node_ { connect() {} disconnect() { window.cut = true; } }
class Gain extends Node_ { constructor() { super(); this.gain = new Param(); } }
class Tone extends Node_ { constructor() { super(); this.frequency = new Param(); }
  start(t) { this.t = t; } stop(t) { window.heard.push([this.t, t, this.frequency.value]); } }
window.AudioContext = class {
  constructor() { this.currentTime = 0; this.destination = {}; window.made = (window.made || 0) + 1; }
  resume() { window.resumed = true; } createGain() { return new Gain(); } createOscillator() { return new Tone(); } };
"""


def test_the_schedule_of_the_play_buttons(browser, files):
    context = browser.new_context()
    context.add_init_script(_RECORDER)
    page = context.new_page()
    page.goto((files / "dense.html").as_uri())
    melody = dense().placement.melody

    def heard():
        got = page.evaluate("window.heard.splice(0)")
        # the lowest of the tones that begin together is the note's own
        return {round(start, 6): min(f for s, _, f in got if s == start) for start, _, _ in got}

    page.click(".music .play")
    assert page.text_content(".music .play .said") == texts()["music.stop"]
    notes = heard()
    assert len(notes) == len(melody)
    second = 60 / 100  # no tempo in the source: 100 quarter notes a minute
    wanted = {
        round(0.08 + t / 10080 * second, 6): 440 * 2 ** ((p - 69) / 12)
        for t, p in zip(melody.onset, melody.pitch, strict=True)
    }
    assert list(notes) == pytest.approx(list(wanted), abs=2e-4)
    assert list(notes.values()) == pytest.approx(list(wanted.values()))
    # pressing again stops
    page.click(".music .play")
    assert page.evaluate("window.cut")
    # half the speed, the marked bars only
    page.select_option("#speed", "0.5")
    button = page.locator("#look-runs > .controls .play")
    start, end = float(button.get_attribute("data-start")), float(button.get_attribute("data-end"))
    button.click()
    notes = heard()
    inside = [t / 10080 for t in melody.onset if start <= t / 10080 < end]
    assert list(notes) == pytest.approx([0.08 + 2 * (t - start) * second for t in inside], abs=4e-4)
    assert page.evaluate("window.made") == 1
    # the change sounds different from what it was, over the same bars
    page.click("#look-runs figure:nth-of-type(1) .play")
    before = heard()
    page.click("#look-runs figure:nth-of-type(2) .play")
    after = heard()
    assert before != after
    assert max(after) <= max(before) + 4
    context.close()


def test_sound_runs_in_the_browser(browser, files):
    context = browser.new_context()
    context.add_init_script(
        "const A = AudioContext;"
        "window.AudioContext = class extends A { constructor() { super(); window.made = this; } };"
    )
    page = context.new_page()
    page.goto((files / "dense.html").as_uri())
    page.click(".music .play")
    for _ in range(50):
        # what the page may run is its own script only, so its state is asked for from outside
        if page.evaluate("window.made.state === 'running' && window.made.currentTime > 0.2"):
            break
        page.wait_for_timeout(100)
    assert page.evaluate("window.made.state") == "running"
    assert page.query_selector(".music .now") is not None
    page.click(".music .play")
    assert page.query_selector(".music .now") is None
    context.close()


def test_data_is_taken_away_without_a_server(browser, files):
    with Watched(browser, files / "dense.html") as seen:
        _unfold(seen)
        got = {}
        for kind in ("json", "csv"):
            with seen.page.expect_download() as download:
                seen.page.click(f"a[download$='.{kind}']")
            got[kind] = Path(download.value.path()).read_text(encoding="utf-8")
            assert download.value.suggested_filename.endswith(f".{kind}")
        assert json.loads(got["json"]) == json.loads(json.dumps(to_document(dense())))
        assert len(list(csv.DictReader(io.StringIO(got["csv"])))) == len(CATALOG)
        assert seen.wrong == []


def test_hostile_names_are_read_not_run(browser, files):
    with Watched(browser, files / "hostile.html") as seen:
        assert seen.page.evaluate("typeof window.hacked") == "undefined"
        assert seen.page.text_content("h1").startswith("</script><script>window.hacked=1</script>")
        assert seen.page.evaluate("document.images.length") == 0
        assert seen.wrong == []


def test_a_script_put_into_the_page_does_not_run(browser, files, tmp_path):
    page = (files / "dense.html").read_text(encoding="utf-8")
    (tmp_path / "edited.html").write_text(page.replace("<h1>", "<script>window.hacked=1</script><h1>"))
    with Watched(browser, tmp_path / "edited.html") as seen:
        _unfold(seen)
        assert seen.page.evaluate("typeof window.hacked") == "undefined"
        assert any("Content Security Policy" in line for line in seen.wrong)
        # the page's own script still does
        assert seen.page.is_visible("#grouped")


def test_without_scripts_everything_is_there(browser, files):
    with Watched(browser, files / "dense.html", java_script_enabled=False) as seen:
        assert seen.page.locator("#trait-table tr.row").count() == len(CATALOG)
        assert not seen.page.is_visible(".tools")
        assert seen.page.locator("#trait-table button").count() == 0
        assert seen.page.locator(".staff.wide svg").first.is_visible()
        # the habits are chosen without it, only the sound needs it
        seen.page.check("#show-rhythm", force=True)
        assert seen.page.is_visible("#look-rhythm")
        assert not seen.page.is_visible(".play")
