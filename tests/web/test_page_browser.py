"""The page in a browser: take in, correct, see the lesson, keep it; loads nothing from elsewhere, works by keyboard."""

from __future__ import annotations

import json
import re
from importlib.util import find_spec

import pytest
from helpers.places import INPUTS, ROOT

pytestmark = pytest.mark.browser

TAKE = ROOT / "corpus" / "evening-class" / "take-1.musicxml"
OTHER = ROOT / "corpus" / "evening-class" / "take-2.musicxml"
TAB = """\
e|-----------------|-----------------|
B|-----------5-6-8-|-8-6-5-----------|
G|-----5-7-9-------|-------9-7-5-----|
D|-5-7-------------|-------------7-5-|
A|-----------------|-----------------|
E|-----------------|-----------------|
"""


@pytest.fixture
def page(browser, served):
    context = browser.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    page = context.new_page()
    troubles, asked = [], []
    page.on("console", lambda message: troubles.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: troubles.append(str(error)))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(served.address)
    page.locator("#style option").nth(2).wait_for(state="attached")
    yield page
    context.close()
    assert troubles == []
    assert all(url.startswith((served.address, "data:", "blob:")) for url in asked)


def put(page, *files):
    page.set_input_files("#files", [str(f) for f in files])


def told(page, where, text):
    """Wait for words (the page's policy lets no test's own code wait in it)."""
    page.locator(where).filter(has_text=text).wait_for()


def lesson(page, style="pop-songs"):
    """Press yes; the frame with the lesson."""
    page.eval_on_selector("#style", f"(select) => {{ select.value = {json.dumps(style)}; }}")
    page.click("#to-lesson")
    frame = page.frame_locator("#sheet")
    frame.locator("h1").wait_for()
    return frame


def test_from_a_file_to_its_lesson_and_the_shelf(page, served):
    put(page, TAKE)
    page.wait_for_selector("#check:not([hidden])")
    assert page.input_value("#w-key") == "D dorian"
    assert page.locator("#staff [data-note]").count() >= 122
    frame = lesson(page)
    assert "K.V., take 1" in frame.locator("h1").inner_text()
    assert "note value" in page.inner_text("#said")
    page.click("#keep summary")
    page.fill("#keep-player", "K.V. <i>")
    page.fill("#keep-date", "2026-03-02")
    page.click("#keep-it")
    told(page, "#said", "Kept")
    page.click("nav [data-place=shelf]")
    page.wait_for_selector("#players-list tbody tr")
    assert page.inner_text("#players-list h2") == "K.V. <i>"
    assert "shown" in page.inner_text("#players-list tbody tr")
    [kept] = served.shelf.glob("*/*.json")
    assert kept.name.startswith("2026-03-02 ")
    # what is kept is there again in another window, can be opened and deleted
    again = page.context.new_page()
    again.goto(served.address)
    again.click("nav [data-place=shelf]")
    again.click("#players-list button:has-text('Open')")
    again.wait_for_selector("#staff [data-note]")
    again.on("dialog", lambda dialog: dialog.accept())
    again.click("nav [data-place=shelf]")
    again.click("#players-list button:has-text('Delete')")
    again.wait_for_selector("#players-list:has-text('Nothing kept yet')")
    assert not list(served.shelf.glob("*/*.json"))


def test_a_corrected_note_changes_the_verdict(page):
    put(page, TAKE)
    page.wait_for_selector("#staff [data-note]")
    assert page.inner_text("#chosen") == "No note chosen"
    page.focus("#staff")
    page.keyboard.press("Home")
    assert page.inner_text("#chosen").startswith("Note 1 of 122: D4, bar 1, beat 1")
    page.keyboard.press("ArrowUp")
    told(page, "#chosen", "E♭4")
    page.keyboard.press("Control+z")
    told(page, "#chosen", "D4")
    runs = "label:has(#show-runs) .verdict"
    before = lesson(page)
    assert "clearly" in before.locator(runs).inner_text()
    assert "note value" in page.inner_text("#said")
    assert before.locator("h1").count() == 1
    # every second note removed, by pointer and by keyboard: no run is left
    page.click("nav [data-place=stand]")
    page.locator("#staff [data-note='1']").first.click(force=True)
    assert page.inner_text("#chosen").startswith("Note 2 of 122")
    for left in range(121, 61, -1):
        page.keyboard.press("Delete")
        told(page, "#chosen", f" of {left}:")
        page.keyboard.press("ArrowRight")
    after = lesson(page)
    after.locator("text=62 notes").first.wait_for()
    assert "clearly" not in after.locator(runs).inner_text()


def test_several_at_once_with_a_broken_one_among_them(page):
    put(page, TAKE, INPUTS / "README.md", OTHER)
    page.locator("#queue button").nth(1).wait_for()
    assert page.locator("#queue .trouble").count() == 1
    assert page.inner_text("#queue .trouble").startswith("README.md")


@pytest.mark.parametrize(
    "name", ["abc/collection.abc", "kern/*.krn", "tab/*.tab", "mei/*.mei", "table/*.csv", "musicxml/*.musicxml"]
)
def test_every_kind_can_be_dropped(page, name):
    there = sorted(INPUTS.glob(name))
    if not there:
        pytest.skip(f"no {name} among the inputs")
    put(page, there[0])
    page.wait_for_selector("#queue button, #queue .trouble")


def test_a_tab_is_pasted(page):
    page.click("#paste summary")
    page.fill("#pasted", TAB)
    page.click("#read-pasted")
    page.wait_for_selector("#staff [data-note]")
    assert "16 notes read" in page.inner_text("#said")


def test_the_words_above_the_staff_change_the_reading(page):
    put(page, TAKE)
    page.wait_for_selector("#staff [data-note]")
    page.fill("#w-key", "nonsense")
    page.click("#again")
    told(page, "#said", "nonsense")
    page.fill("#w-key", "G mixolydian")
    page.click("#again")
    told(page, "#said", "Read again")
    assert page.input_value("#w-key") == "G mixolydian"


def test_names_from_files_are_shown_and_never_run(page, tmp_path):
    evil = "<img src=x onerror=document.title='run'><script>document.title='run'</script>"
    (tmp_path / "evil.abc").write_text(f"X:1\nT:{evil}\nM:4/4\nL:1/8\nK:C\n" + "CDEF GABc|" * 8)
    put(page, tmp_path / "evil.abc")
    page.wait_for_selector("#staff [data-note]")
    frame = lesson(page)
    assert "<script>" in frame.locator("h1").inner_text()
    assert page.title() == "stylemeter"


@pytest.mark.parametrize(("width", "scheme"), [(360, "light"), (1280, "dark")])
def test_it_fits_a_phone_and_has_no_serious_findings(browser, served, width, scheme):
    """The rules are those of axe-core, WCAG 2.1 A and AA."""
    if find_spec("axe_playwright_python") is None:
        pytest.skip("axe is not installed")
    from axe_playwright_python.sync_playwright import Axe

    context = browser.new_context(viewport={"width": width, "height": 740}, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    page.goto(served.address)
    page.locator("#style option").nth(2).wait_for(state="attached")
    put(page, TAKE)
    page.wait_for_selector("#staff [data-note]")
    page.click("#record summary")
    for place in ("stand", "lesson", "shelf"):
        if place == "lesson":
            lesson(page)
        else:
            page.click(f"nav [data-place={place}]")
        wide = "[...document.querySelectorAll('body *')].filter(e => e.getBoundingClientRect().right > innerWidth + 1)"
        assert page.evaluate(f"{wide}.map(e => e.tagName + ' ' + e.id + ' ' + e.className)") == []
        found = (
            Axe().run(page, options={"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}).response["violations"]
        )
        assert [(v["id"], v["nodes"][0]["html"]) for v in found if v["impact"] in ("serious", "critical")] == []
    context.close()


def test_every_name_the_modules_ask_for_is_in_the_page():
    static = ROOT / "stylemeter" / "web" / "static"
    page = (static / "index.html").read_text(encoding="utf-8")
    ids = set(re.findall(r'\bid="([\w-]+)"', page))
    for module in static.glob("*.js"):
        asked = set(re.findall(r'\bat\("([\w-]+)"\)', module.read_text(encoding="utf-8")))
        assert asked <= ids, (module.name, asked - ids)
    assert not re.search(r"\son\w+=|<style|style=|javascript:", page)
