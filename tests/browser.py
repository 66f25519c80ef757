"""How Debian's Chromium is started, for the tests and for the pictures of the docs; loaded by path from both."""

from pathlib import Path

CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    # 127.0.0.1 is a secure context and would hide what is missing on the shop's wifi: the bench is opened by this name.
    "--host-resolver-rules=MAP bench.test 127.0.0.1",
]
