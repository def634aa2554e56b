"""What the tests of the pages share: a reader of pages, and a browser without a network. No tests."""

import json
import shutil
import subprocess
from contextlib import contextmanager
from html.parser import HTMLParser

NASTY = '<script>alert("x")</script><img src=//a.example/i onerror=alert(1)>'
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = ("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
         "--disable-background-networking", "--disable-component-update", "--disable-sync",
         "--host-resolver-rules=MAP * ~NOTFOUND", "--enable-logging=stderr", "--v=0", "--virtual-time-budget=8000")
# In a frame as wide as a telephone, since a browser's own window is never that narrow.
PHONE = """<!DOCTYPE html><body><iframe src="page.html" width="390" height="3000"></iframe><pre id="said"></pre><script>
addEventListener("message", function (event) { document.getElementById("said").textContent = event.data; });
</script></body>"""
MEASURED = """<script>addEventListener("load", function () { setTimeout(function () {
  parent.postMessage(document.documentElement.scrollWidth + " of " + innerWidth, "*");
}, 1500); });</script></body>"""


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


def opened(page, folder):
    """The page as the browser drew it with no network, and what it printed on its console."""
    run = _browse(page, folder, "page.html", "--window-size=1200,2000", "--dump-dom")
    return run.stdout, [line for line in run.stderr.splitlines() if "CONSOLE" in line]


def printed(page, folder):
    """The page as a PDF: the bytes of the file."""
    paper = folder / "page.pdf"
    _browse(page, folder, "page.html", "--no-pdf-header-footer", f"--print-to-pdf={paper}")
    return paper.read_bytes()


def width_on_a_phone(page, folder):
    """How wide the page needs to be and how wide a telephone is, in px of CSS."""
    loose = page.replace("default-src &#x27;none&#x27;", "default-src &#x27;unsafe-inline&#x27;")
    (folder / "phone.html").write_text(PHONE, encoding="utf-8")
    run = _browse(loose.replace("</body>", MEASURED), folder, "phone.html", "--allow-file-access-from-files", "--window-size=500,3000", "--dump-dom")
    wide, window = run.stdout.split('<pre id="said">')[1].split("</pre>")[0].split(" of ")
    return int(wide), int(window)


def _browse(page, folder, opens, *flags):
    (folder / "page.html").write_text(page, encoding="utf-8")
    return subprocess.run([BROWSER, *FLAGS, *flags, f"--user-data-dir={folder / 'profile'}",
                           (folder / opens).as_uri()], text=True, capture_output=True, timeout=120, check=True)


@contextmanager
def driven(page, folder, width=1280, height=1000):
    """The page in a browser that a test can use as a person does, what it asked the network for and what it complained
    of: (page of Playwright, requests, complaints)."""
    from playwright.sync_api import sync_playwright  # here, since most tests of pages need no driver

    file = folder / "page.html"
    file.write_text(page, encoding="utf-8")
    asked, complaints = [], []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"])
        shown = browser.new_page(viewport={"width": width, "height": height})
        shown.on("request", lambda request: None if request.url == file.as_uri() else asked.append(request.url))
        shown.on("console", lambda message: complaints.append(message.text))
        shown.on("pageerror", lambda error: complaints.append(str(error)))
        shown.goto(file.as_uri())
        shown.wait_for_selector("body[data-drawn]")
        yield shown, asked, complaints
        browser.close()
