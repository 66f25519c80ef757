"""Takes a picture of every page of the bench into docs/screens, from the invented demo, with a table in each state.

    .venv/bin/python scripts/screenshots.py [--to FOLDER] [--only KEY ...] [--whole]

It needs the browser driver of `make dev` and Debian's Chromium. Pictures are WebP, written by the browser itself. With
--whole they are PNG and show each page to its end, for looking at while a page is being made.
"""

import argparse
import base64
import json
import os
import re
import runpy
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent.parent
SCENE = HERE / "tests" / "bench" / "scene.py"
LIST = runpy.run_path(os.fspath(HERE / "tests" / "bench" / "pages.py"))
BROWSER = runpy.run_path(os.fspath(HERE / "tests" / "browser.py"))
CHROMIUM, FLAGS = BROWSER["CHROMIUM"], BROWSER["FLAGS"]
SIZES = {"tablet": (820, 1180), "phone": (360, 740)}
DARK = {"today", "pull-slot", "table-open", "taste-cup", "verdict"}
"""Pages of which a dark picture is taken as well."""
QUALITY = 0.42
LEAD, OWNER = "Maren", "Odile"
WHO = {"lead": LEAD, "owner": OWNER, "taster": "Cleo"}
TASTERS = ["Ane", "Bram", "Cleo", "Dov"]

_FILL = """
import json, os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from django.http import HttpResponse
from django.utils import timezone
from evenhand.bench.people.accounts import DEVICE_COOKIE, add_device, make_account
from evenhand.bench.start.demo import bring_demo
from evenhand.records.audit import Pen
told = json.loads(sys.argv[1])
pen = Pen(who=told["owner"], at=timezone.localtime())
make_account(pen, told["owner"], "owner", password="six slow kettles")
bring_demo(pen)
make_account(pen, told["lead"], "lead", password="six slow kettles")
for name in told["tasters"]:
    make_account(pen, name, "taster", pin="2580")
answer = HttpResponse()
add_device(answer, name="Tablet by the machine", by=told["lead"])
print(json.dumps([DEVICE_COOKIE, answer.cookies[DEVICE_COOKIE].value]))
"""
# The browser writes the picture: no other program is needed for it.
_TO_WEBP = """async ([png, quality]) => {
  const picture = new Image();
  picture.src = "data:image/png;base64," + png;
  await picture.decode();
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [picture.width, picture.height];
  canvas.getContext("2d").drawImage(picture, 0, 0);
  return canvas.toDataURL("image/webp", quality).split(",")[1];
}"""


def run_python(words: list[str], environment: dict[str, str]) -> str:
    """Run a program on the records and return what it prints."""
    done = subprocess.run([sys.executable, *words], env={**os.environ, **environment}, capture_output=True, text=True)
    if done.returncode:
        raise SystemExit(done.stderr)
    return done.stdout.strip().splitlines()[-1]


@contextmanager
def served(data: Path) -> Iterator[str]:
    """Serve a data folder; give the address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "evenhand", "serve", "--port", "0", "--name", "bench.test"],
        env={**os.environ, "EVENHAND_DATA": os.fspath(data), "LC_ALL": "C.UTF-8"},
        stdout=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    try:
        for line in process.stdout:
            if found := re.search(r"open at https?://[^:]+:(\d+)/", line):
                yield f"http://bench.test:{found[1]}"
                return
        raise SystemExit("the server did not start")
    finally:
        process.terminate()
        process.wait(10)


def cookies_of(who: str, scene: dict[str, Any], device: list[str], room: str) -> list[dict[str, str]]:
    """Return what makes a browser that of somebody."""
    if who in WHO:
        return [{"name": "evenhand_session", "value": scene["sessions"][WHO[who]], "url": room}]
    return [{"name": device[0], "value": device[1], "url": room}] if who == "device" else []


class Camera:
    """Takes pictures of pages, each in a browser of its own kind of person."""

    def __init__(self, chromium: Any, to: Path, whole: bool) -> None:
        self.chromium, self.to, self.whole = chromium, to, whole
        self.writer = chromium.new_context().new_page()
        self.contexts: dict[tuple[str, str, str], Any] = {}

    def take(self, page: Any, room: str, scene: dict[str, Any], device: list[str], size: str, theme: str) -> None:
        """Take one picture."""
        width, height = SIZES[size]
        at = (room, page.who, size)
        if at not in self.contexts:
            context = self.chromium.new_context(
                viewport={"width": width, "height": height}, has_touch=True, locale="en-GB", reduced_motion="reduce"
            )
            context.add_cookies(cookies_of(page.who, scene, device, room))
            self.contexts[at] = context.new_page()
        tab = self.contexts[at]
        tab.emulate_media(color_scheme=theme)
        tab.goto(room + page.address(scene))
        tab.wait_for_timeout(400)  # what scripts draw at the start
        name = f"{page.key}-{size}" + ("-dark" if theme == "dark" else "")
        if self.whole:
            tab.screenshot(path=self.to / f"{name}.png", full_page=True)
            return
        png = base64.b64encode(tab.screenshot()).decode()
        webp = self.writer.evaluate(_TO_WEBP, [png, QUALITY])
        (self.to / f"{name}.webp").write_bytes(base64.b64decode(webp))


def main() -> None:
    """Take the pictures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--to", type=Path, default=HERE / "docs" / "screens")
    parser.add_argument("--only", nargs="*", default=[], help="keys of pages, as in tests/bench/pages.py")
    parser.add_argument("--whole", action="store_true", help="PNG of each page to its end")
    words = parser.parse_args()
    if not CHROMIUM.exists():
        raise SystemExit(f"needs {CHROMIUM}")
    from playwright.sync_api import sync_playwright

    words.to.mkdir(parents=True, exist_ok=True)
    os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
    import django

    django.setup()
    with tempfile.TemporaryDirectory() as place, sync_playwright() as driver:
        data, new, empty = (Path(place) / name for name in ("shop", "new", "empty"))
        environment = {"EVENHAND_DATA": os.fspath(data)}
        told = {"owner": OWNER, "lead": LEAD, "tasters": TASTERS}
        device = json.loads(run_python(["-c", _FILL, json.dumps(told)], environment))
        laying = {"pen": LEAD, "tasters": TASTERS, "outside": OWNER}
        scene = json.loads(run_python([os.fspath(SCENE), json.dumps(laying)], environment))
        begun = json.loads(
            run_python([os.fspath(SCENE), json.dumps({"pen": OWNER})], {"EVENHAND_DATA": os.fspath(new)})
        )
        chromium = driver.chromium.launch(executable_path=os.fspath(CHROMIUM), args=FLAGS)
        camera = Camera(chromium, words.to, words.whole)
        with served(data) as room, served(new) as beginning, served(empty) as first:
            for address, pages, laid in (
                (room, LIST["PAGES"], scene),
                (beginning, LIST["EMPTY_PAGES"], begun),
                (first, LIST["FIRST_PAGES"], {}),
            ):
                for page in pages:
                    if words.only and page.key not in words.only:
                        continue
                    themes = ("light", "dark") if page.key in DARK else ("light",)
                    for size in SIZES:
                        for theme in themes:
                            camera.take(page, address, laid, device, size, theme)
                    print(page.key, flush=True)
        chromium.close()
    if not words.only:
        total = sum(file.stat().st_size for file in words.to.iterdir())
        print(f"{len(list(words.to.iterdir()))} pictures, {total / 1e6:.1f} MB in {words.to}")


if __name__ == "__main__":
    main()
