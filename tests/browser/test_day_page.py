"""/crews/…/days/… as it is read: large, light, by keyboard, on paper, its drawing nearer; `test_day.py` works it."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect

from tests.browser.board import axe, no_sideways_scroll, tab_to
from tests.browser.phone import Phone, kept, signal, stop_of, unfold
from tests.service.day.day_cast import HOME

pytestmark = [pytest.mark.browser, pytest.mark.slow]


# The contrast of all words that can be seen with what lies behind them, the least first, with the words: colors as the
# browser has computed them, laid over each other by their alpha and opacity, marks before words too; nothing lies on a
# picture. What cannot be pressed is left out.
CONTRAST = """() => {
  const parse = (c) => { const [r, g, b, a = 1] = c.match(/[\\d.]+/g).map(Number); return [r, g, b, a]; };
  const over = ([r, g, b, a], under) => [r, g, b].map((v, n) => v * a + under[n] * (1 - a));
  const light = (c) => c.map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4))
    .reduce((sum, v, n) => sum + v * [0.2126, 0.7152, 0.0722][n], 0);
  const up = (e) => { const all = []; for (; e; e = e.parentElement) all.unshift(e); return all; };
  const ground = (e) => up(e).map((one) => parse(getComputedStyle(one).backgroundColor)).reduce((under, c) => over(c, under), [255, 255, 255]);
  const opacity = (e) => up(e).reduce((so, one) => so * Number(getComputedStyle(one).opacity), 1);
  const found = [];
  const look = (e, color, words) => {
    const behind = ground(e), [r, g, b, a] = parse(color);
    const [one, other] = [light(over([r, g, b, a * opacity(e)], behind)), light(behind)];
    found.push([(Math.max(one, other) + 0.05) / (Math.min(one, other) + 0.05), words.slice(0, 60)]);
  };
  for (const e of document.querySelectorAll("body *")) {
    if (!e.checkVisibility() || ["SCRIPT", "NOSCRIPT", "OPTION"].includes(e.tagName) || e.closest(":disabled, svg")) continue;
    const words = e.matches("input:not([type=checkbox], [type=radio], [type=file]), textarea") ? e.value : [...e.childNodes].filter((n) => n.nodeType === 3).map((n) => n.textContent.trim()).join("");
    if (words) look(e, getComputedStyle(e).color, words);
    if (e.placeholder && !e.value) look(e, getComputedStyle(e, "::placeholder").color, e.placeholder);
    for (const mark of ["::before", "::after"]) {
      const { content, color } = getComputedStyle(e, mark);
      if (/^"\\s*\\S/.test(content)) look(e, color, `${mark} ${content}`);
    }
  }
  return found.sort((a, b) => a[0] - b[0]);
}"""  # noqa: E501


def parts_of(page: Page) -> Iterator[str]:
    """Show each part of the day in turn, everything in it unfolded."""
    for link in page.locator(".rail a").all():
        link.click()
        page.evaluate("document.querySelectorAll('#day details').forEach((fold) => (fold.open = true))")
        yield str(link.get_attribute("href"))


def contrast_of_seven(page: Page, where: str) -> None:
    """Raise `AssertionError` with the words that are read badly in the sun."""
    seen = page.evaluate(CONTRAST)
    assert len(seen) > 5
    assert seen[0][0] >= 7, (where, seen[:5])


def test_the_sheet_reads_by_axe_at_360_pixels_and_with_large_targets(phone: Phone) -> None:
    page = phone.open()
    for part in parts_of(page):
        axe(page)
        no_sideways_scroll(page)
        small = page.evaluate(
            """() => [...document.querySelectorAll("#day button, #day summary, #day label.tick, #day select,"
               + "#day .key, .rail a, #day .chip, #day textarea,"
               + "#day input:not([type=checkbox]):not([type=radio]):not([type=file])")]
               .filter((e) => e.checkVisibility()).filter((e) => e.getBoundingClientRect().height < 44)
               .map((e) => e.outerHTML.slice(0, 80))"""
        )
        assert small == [], part
        contrast_of_seven(page, part)


def test_the_drawing_over_the_whole_screen_goes_on_by_a_bracket_with_a_swipe(phone: Phone) -> None:
    page, install = phone.open(), phone.jobs.install
    stop = stop_of(page, install)
    unfold(stop, "Wall drawing")
    stop.get_by_role("button", name="Full screen").click()
    viewer = page.locator("dialog.viewer")
    expect(viewer).to_have_attribute("data-bracket", "0")
    contrast_of_seven(page, "viewer")
    lengths = [line.inner_text() for line in page.locator(f"#stop-{install} .holes strong").all()]
    for n in (1, 2):
        page.mouse.move(180, 500)
        page.mouse.down()
        page.mouse.move(180, 300)  # the phone stands: along the lying drawing is down the screen
        page.mouse.up()
        expect(viewer).to_have_attribute("data-bracket", str(n))
    shown = viewer.locator("p").text_content()
    assert shown is not None
    assert shown.replace("\u00a0", " ").startswith("2 · 6' 0 5/16\"")
    assert len(lengths) == 4
    viewer.get_by_role("button", name="Close").click()
    expect(viewer).to_have_count(0)


def test_the_drawing_comes_nearer_by_buttons_keys_and_two_fingers(phone: Phone) -> None:
    page = phone.open()
    stop = stop_of(page, phone.jobs.install)
    unfold(stop, "Wall drawing")
    picture, pane = stop.locator(".pane img"), stop.locator(".pane")
    picture.scroll_into_view_if_needed()
    expect(picture).to_have_js_property("complete", True)

    def width() -> float:
        return float(picture.evaluate("e => e.getBoundingClientRect().width"))

    whole = width()
    stop.get_by_role("button", name="Nearer").click()
    assert width() > 1.3 * whole
    stop.get_by_role("button", name="Whole").click()
    assert width() == pytest.approx(whole, abs=2)
    pane.focus()
    page.keyboard.press("+")
    page.keyboard.press("+")
    near = width()
    assert near > 1.8 * whole
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    expect(pane).not_to_have_js_property("scrollLeft", 0)
    page.keyboard.press("0")
    assert width() == pytest.approx(whole, abs=2)
    box = pane.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    touch = page.context.new_cdp_session(page)
    for kind, apart in (("touchStart", 30), ("touchMove", 45), ("touchMove", 60), ("touchEnd", 0)):
        points = [{"x": x - apart, "y": y}, {"x": x + apart, "y": y}] if apart else []
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    assert width() == pytest.approx(2 * whole, rel=0.1)


def test_the_day_is_worked_by_keyboard_alone(phone: Phone) -> None:
    page, install = phone.open(size="desk"), phone.jobs.install
    tab_to(page, f"#kit-{install} > summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#kit-{install} [data-item]")
    page.keyboard.press("Space")
    expect(page.locator(f"[data-count='{install}']")).to_contain_text("1 of ")
    tab_to(page, f".rail a[href='#stop-{install}']")
    page.keyboard.press("Enter")
    expect(page.locator(f"#title-{install}")).to_be_focused()
    tab_to(page, f"#stop-{install} [data-steps] > summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#stop-{install} [data-sign]")
    page.keyboard.press("Space")
    tab_to(page, f"#stop-{install} .steps summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#stop-{install} [data-note]")
    page.keyboard.type("shimmed")
    tab_to(page, f"#stop-{install} [data-otherwise] > summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#stop-{install} input[name=outcome]")
    page.keyboard.press("ArrowDown")
    tab_to(page, f"#stop-{install} .result > fieldset > details:last-of-type > summary")
    page.keyboard.press("Enter")
    tab_to(page, f"#stop-{install} textarea")
    page.keyboard.type("hail")
    tab_to(page, f"#stop-{install} .result button.key")
    page.keyboard.press("Enter")
    expect(page.locator(f"#stop-{install} [data-told]")).to_contain_text("not done: hail")
    signal(page, "All sent")
    assert [did for did, _ in phone.history()] == ["ticked", "signed", "signed", "not done"]


def test_the_printed_page_has_every_part_of_the_day(phone: Phone) -> None:
    page = phone.open(size="desk")
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    for words in ("from the zero of the wall", "The drawing in words", "on the drawing", "Mind all day", "Back by"):
        expect(page.get_by_text(words).first).to_be_visible()
    assert page.locator("details:not([open])").count() == 0
    expect(page.locator("#signal")).to_be_hidden()
    expect(page.get_by_role("button", name="Leave the yard")).to_be_hidden()


# A phone in a village: 1.6 Mbit/s down, 750 kbit/s up, 150 ms there and back.
SLOW = {"offline": False, "downloadThroughput": 1.6e6 / 8, "uploadThroughput": 750e3 / 8, "latency": 150}
MOST_BYTES = 200_000
FIRST_PAINT_MS = 1000
# Round trips before the first paint: a connection and the page, another connection and what the paint waits for.
TRIPS = 4


def test_the_sheet_weighs_little_and_its_paint_waits_for_little_on_a_slow_line(phone: Phone) -> None:
    """The paint is worked out from what it waits for: a clock would tell of the machine, not of the page."""
    cookies = phone.open().context.cookies()
    page = phone.board.anonymous_page("phone")
    page.context.add_cookies(cookies)  # type: ignore[arg-type]
    line = page.context.new_cdp_session(page)
    line.send("Network.enable")
    line.send("Network.emulateNetworkConditions", SLOW)
    url: dict[str, str] = {}
    received: dict[str, float] = {}
    line.on("Network.responseReceived", lambda e: url.update({e["requestId"]: e["response"]["url"]}))
    line.on("Network.loadingFinished", lambda e: received.update({e["requestId"]: e["encodedDataLength"]}))
    page.goto(HOME)
    kept(page)
    assert 10_000 < sum(received.values()) <= MOST_BYTES
    entries = "performance.getEntriesByType('resource')"
    waits = page.evaluate(f"{entries}.filter(e => e.renderBlockingStatus === 'blocking').map(e => e.name)")
    assert waits  # the style at least
    before = sum(size for one, size in received.items() if url[one] in {page.url, *waits})
    assert before > 5_000
    assert TRIPS * SLOW["latency"] + 1000 * before / SLOW["downloadThroughput"] <= FIRST_PAINT_MS
