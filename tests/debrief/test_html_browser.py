"""The page in a real browser: what it asks for, what it complains of, whether it fits a phone."""

from __future__ import annotations

import re
import shutil
import subprocess
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from blindfield.debrief.html_page import page
from support import pages_told
from support.strict import absent

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
HOW = ("--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--enable-logging=stderr",
       "--disable-background-networking", "--disable-component-update", "--hide-scrollbars",
       "--virtual-time-budget=1000")  # fmt: skip
# A browser's window has a least width; a frame has none.
FRAMES = """<!DOCTYPE html><title></title>{frames}<script>
onload = () => {{
  for (const frame of document.querySelectorAll("iframe")) {{
    const inside = frame.contentDocument;
    const wider = [...inside.querySelectorAll(".wide")].filter(
      (one) => one.scrollWidth > one.clientWidth
    );
    document.title += ` ${{inside.documentElement.scrollWidth}}+${{wider.length}}`;
  }}
}};
</script>"""
BROAD = (
    '<div class="wide"><table><tr><td><svg width="2000" height="9"></svg></td></tr></table></div>'
)
WIDTHS_PX = (320, 390, 1280)


@dataclass
class Site:
    """Pages by path, on the loopback; `asked` is every path that was asked for."""

    pages: dict[str, str] = field(default_factory=dict)
    asked: list[str] = field(default_factory=list)
    address: str = ""


@pytest.fixture(scope="module")
def site() -> Iterator[Site]:
    found = Site()

    class Answer(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            found.asked.append(self.path)
            text = found.pages.get(self.path)
            self.send_response(404 if text is None else 200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write((text or "").encode())

        def log_message(self, format: str, *args: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Answer) as server:
        threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True).start()
        found.address = f"http://127.0.0.1:{server.server_port}"
        yield found
        server.shutdown()


Opened = Callable[..., tuple[str, list[str]]]


@pytest.fixture
def opened(site: Site, tmp_path: Path) -> Opened:
    """Opens pages, one after the other: what became of the first of them, and every complaint."""
    browser = next(filter(None, map(shutil.which, BROWSERS)), None)
    if browser is None:
        absent("there is no Chromium here")

    def look(path: str, **pages: str) -> tuple[str, list[str]]:
        site.pages = {f"/{name}.html": text for name, text in pages.items()}
        site.asked.clear()
        own = (f"--user-data-dir={tmp_path / 'profile'}", "--window-size=1400,1000")
        done = subprocess.run(
            [browser, *HOW, *own, "--dump-dom", f"{site.address}/{path}.html"],
            stdin=subprocess.DEVNULL, capture_output=True, text=True, check=True, timeout=60,
        )  # fmt: skip
        said = re.findall(r".*:CONSOLE.*", done.stderr)
        return done.stdout, said

    return look


def test_it_asks_for_nothing_and_complains_of_nothing(opened: Opened, site: Site) -> None:
    shown, complaints = opened("run", run=page(pages_told.told()))
    assert complaints == []
    assert site.asked == ["/run.html"]
    assert 'id="map"' in shown


def test_its_policy_stops_what_would_ask(opened: Opened, site: Site) -> None:
    asking = '<img src="/spy.png" alt=""><script src="/spy.js"></script><p style="margin: 0">'
    _, complaints = opened("run", run=with_more(asking))
    assert site.asked == ["/run.html"]
    assert len(complaints) >= 3


def with_more(html: str) -> str:
    return page(pages_told.told()).replace("<footer>", f"{html}<footer>")


def test_nothing_of_it_is_wider_than_a_phone(opened: Opened) -> None:
    frames = [frame("run", width_px) for width_px in WIDTHS_PX] + [frame("broad", 320)]
    around = FRAMES.format(frames="".join(frames))
    shown, _ = opened("all", all=around, run=with_more(""), broad=with_more(BROAD))
    (title,) = re.findall(r"<title>(.*)</title>", shown)
    *ours, broad = title.split()
    assert ours == [f"{width_px}+0" for width_px in WIDTHS_PX]  # and no table has to be scrolled
    assert broad == "320+1"


def frame(name: str, width_px: int) -> str:
    return f'<iframe src="/{name}.html" width="{width_px}" height="900" frameborder="0"></iframe>'
