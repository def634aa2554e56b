"""What the tests of the pages share: a reader of pages, and a browser without a network. No tests."""

import json
import shutil
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from html.parser import HTMLParser
from itertools import count
from pathlib import Path
from typing import Any, NamedTuple

NASTY = '<script>alert("x")</script><img src=//a.example/i onerror=alert(1)>'
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = ("--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking",
         "--disable-component-update", "--disable-sync", "--host-resolver-rules=MAP * ~NOTFOUND")
PATIENCE_MS = 120_000  # of a busy machine; a page that draws nothing fails all the same
LOOK_MS = 20
SCREEN, TABLET, PHONE = (1280, 1000), (768, 1000), (390, 844)


class Reader(HTMLParser):
    """What a page says and asks for, read with Python's own HTML parser."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.words, self.islands, self.styles = [], [], {}, []
        self.inside, self.island = "", None
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        self.inside = tag if tag in ("script", "style") else ""
        self.island = dict(attrs).get("id") if dict(attrs).get("type") == "application/json" else None

    def handle_endtag(self, tag):
        self.inside, self.island = "", None

    def handle_data(self, data):
        if self.island:
            self.islands[self.island] = self.islands.get(self.island, "") + data
        elif self.inside == "style":
            self.styles.append(data)
        elif not self.inside and data.strip():
            self.words.append(" ".join(data.split()))

    @property
    def text(self):
        return " ".join(self.words)

    def chart(self, name):
        return json.loads(self.islands[f"{name}-data"])

    def named(self, tag):
        return [attributes for each, attributes in self.tags if each == tag]


def luminance(colour):
    """Relative luminance of #rrggbb as WCAG 2.2 defines it."""
    linear = [channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4
              for channel in (int(colour[at:at + 2], 16) / 255 for at in (1, 3, 5))]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    """Contrast ratio of two colours as WCAG 2.2 defines it, from 1 to 21."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


class Used(NamedTuple):
    """What came of using a page: what the use returned, what the page asked the network for, and its complaints."""

    result: Any
    asked: list[str]
    complaints: list[str]


def until(shown: Any, expression: str) -> None:
    """Waits until this holds in the page. Playwright's own way has the page evaluate a text, which its policy forbids
    from the second look on."""
    for _look in range(PATIENCE_MS // LOOK_MS):
        if shown.evaluate(expression):
            return
        shown.wait_for_timeout(LOOK_MS)
    raise AssertionError(f"never came true: {expression}")


class Browser:
    """One browser for all tests of a run. It lives in a thread of its own: Playwright keeps an event loop running in
    its thread, which would forbid one to every test after it."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._numbers = folder, count()
        self._thread = ThreadPoolExecutor(1)
        self._thread.submit(self._start).result()

    def _start(self) -> None:
        from playwright.sync_api import sync_playwright  # here, since most tests need no driver

        self._driver = sync_playwright().start()
        self._browser = self._driver.chromium.launch(executable_path=BROWSER, args=list(FLAGS))

    def close(self) -> None:
        self._thread.submit(self._stop).result()
        self._thread.shutdown()

    def _stop(self) -> None:
        self._browser.close()
        self._driver.stop()

    def use(self, page: str, act: Callable[[Any], Any], size: tuple[int, int] = SCREEN) -> Used:
        """Opens the page in a window of its own and does with it what `act` does with a page of Playwright."""
        return self._thread.submit(self._use, page, act, size).result()

    def _use(self, page: str, act: Callable[[Any], Any], size: tuple[int, int]) -> Used:
        file = self._folder / f"{next(self._numbers)}.html"
        file.write_text(page, encoding="utf-8")
        asked: list[str] = []
        complaints: list[str] = []
        handheld = size == PHONE
        window = self._browser.new_context(viewport={"width": size[0], "height": size[1]}, is_mobile=handheld,
                                           has_touch=handheld)
        try:
            shown = window.new_page()
            shown.set_default_timeout(PATIENCE_MS)
            shown.on("request", lambda request: None if request.url == file.as_uri() else asked.append(request.url))
            shown.on("console", lambda message: complaints.append(message.text))
            shown.on("pageerror", lambda error: complaints.append(str(error)))
            shown.goto(file.as_uri())
            if shown.query_selector(".chart"):
                shown.wait_for_selector("body[data-drawn]")
            return Used(act(shown), asked, complaints)
        finally:
            window.close()
            file.unlink()

    def opened(self, page: str) -> tuple[str, list[str]]:
        """The page as the browser drew it with no network, and what it asked for or complained of."""
        used = self.use(page, lambda shown: shown.content())
        return used.result, used.asked + used.complaints

    def printed(self, page: str) -> bytes:
        """The page as a PDF: the bytes of the file."""
        return self.use(page, lambda shown: shown.pdf(prefer_css_page_size=True)).result

    def width_on_a_phone(self, page: str) -> tuple[int, int]:
        """How wide the page needs to be and how wide a telephone is, in px of CSS."""
        return self.use(page, lambda shown: shown.evaluate("document.documentElement.scrollWidth"), PHONE).result, PHONE[0]
