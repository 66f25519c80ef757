"""Times the submission of sheets: 50 tasters at one table, beside the smallest page of the same server in the same run.

    .venv/bin/python benchmarks/bench_table.py [--tasters 50] [--every 5] [--burst]

Each taster hands in a sheet for each cup, at random moments that are `--every` seconds apart on average, over a
connection kept open, while as many phones listen for hints and the judging process runs. The promise is a p95 under
100 ms on 2 cores. With --burst everybody sends at the same moment instead: that figure shows the queue, not a table.
"""

import argparse
import http.client
import json
import os
import random
import re
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from urllib.parse import urlencode

import numpy as np

HERE = Path(__file__).parent
BOUND_MS = 100.0


class Phone:
    """One taster's phone: logged in, with a connection that stays open."""

    def __init__(self, port: int, name: str, password: str) -> None:
        self.line = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        self.cookies: dict[str, str] = {}
        self.ask("GET", "/people/sign-in/password/")
        form = urlencode({"name": name, "password": password, "csrfmiddlewaretoken": self.cookies["evenhand_csrf"]})
        status, said = self.ask("POST", "/people/sign-in/password/", form, "application/x-www-form-urlencoded")
        if status not in (302, 303):
            raise SystemExit(f"{name} could not log in: {status} {said[:300]!r}")

    def ask(self, method: str, path: str, body: str | None = None, kind: str = "application/json") -> tuple[int, bytes]:
        """Send one request and read all of the answer."""
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        if body is not None:
            headers |= {"Content-Type": kind, "X-CSRFToken": self.cookies["evenhand_csrf"]}
        self.line.request(method, path, body, headers)
        answer = self.line.getresponse()
        for field in answer.headers.get_all("Set-Cookie") or []:
            name, value = field.split(";")[0].split("=", 1)
            self.cookies[name] = value
        return answer.status, answer.read()


def start(data: Path) -> tuple[subprocess.Popen, int]:
    """Start the server and return it with its port."""
    process = subprocess.Popen(
        [sys.executable, "-m", "evenhand", "serve", "--port", "0"],
        env={**os.environ, "EVENHAND_DATA": os.fspath(data)},
        stdout=subprocess.PIPE,
        text=True,
    )
    for line in process.stdout:
        if found := re.search(r"open at http://[^:]+:(\d+)/", line):
            threading.Thread(target=process.stdout.read, daemon=True).start()
            return process, int(found[1])
    raise SystemExit("the server did not start")


def listen(port: int, cookies: dict[str, str], stop: threading.Event) -> None:
    """Hold a stream of hints open, as a phone does."""
    line = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    line.request("GET", "/live/", headers={"Cookie": "; ".join(f"{n}={v}" for n, v in cookies.items())})
    answer = line.getresponse()
    while not stop.is_set() and answer.readline():
        pass
    line.close()


def describe(name: str, seconds: list[float]) -> float:
    """Print the quantiles of some times and return the 95th percentile in milliseconds."""
    ms = np.array(seconds) * 1000
    p50, p95 = np.percentile(ms, [50, 95])
    print(f"{name:<28} n {len(ms):5d}   p50 {p50:7.1f} ms   p95 {p95:7.1f} ms   worst {ms.max():7.1f} ms")
    return float(p95)


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tasters", type=int, default=50)
    parser.add_argument("--cups", type=int, default=8)
    parser.add_argument("--every", type=float, default=5.0)
    parser.add_argument("--burst", action="store_true")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        data = Path(place)
        words = [os.fspath(HERE / "lay_table.py"), place, "--tasters", str(asked.tasters)]
        words += ["--batches", str(max(1, asked.cups // 2)), "--pulls", "2"]
        laid = json.loads(subprocess.run([sys.executable, *words], check=True, capture_output=True, text=True).stdout)
        process, port = start(data)
        try:
            run(laid, port, asked.every, asked.burst)
        finally:
            process.terminate()
            process.wait()


def run(laid: dict, port: int, every: float, burst: bool) -> None:
    """Let everybody log in, listen, and hand in their sheets."""
    phones = [Phone(port, one["name"], laid["password"]) for one in laid["tasters"]]
    stop = threading.Event()
    for phone in phones:
        threading.Thread(target=listen, args=(port, phone.cookies, stop), daemon=True).start()
    time.sleep(1.0)
    baseline: list[float] = []
    for _ in range(100):
        began = time.perf_counter()
        phones[0].ask("GET", "/static/bench/mark.svg")
        baseline.append(time.perf_counter() - began)
    took: list[float] = []
    wrong: list[str] = []

    def taste(phone: Phone, taster: dict, dice: random.Random) -> None:
        for code in laid["codes"]:
            if not burst:
                time.sleep(dice.expovariate(1 / every))
            sheet = {
                "client_id": f"{dice.getrandbits(128):032x}",
                "taster": taster["pk"],
                "code": code,
                "scores": {name: dice.randint(0, 20) / 2 for name in laid["scales"]},
                "faults": {"smoky": False, "ashy": False},
                "words": "",
                "tasted_at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
            }
            began = time.perf_counter()
            status, said = phone.ask("POST", f"/taste/{laid['table']}/sheets", json.dumps(sheet))
            took.append(time.perf_counter() - began)
            if status != 201:
                wrong.append(f"{status} {said[:200]!r}")

    threads = [
        threading.Thread(target=taste, args=(phone, taster, random.Random(number)))
        for number, (phone, taster) in enumerate(zip(phones, laid["tasters"], strict=True))
    ]
    began = time.perf_counter()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    spent = time.perf_counter() - began
    stop.set()
    if wrong:
        raise SystemExit(f"{len(wrong)} sheets were refused, the first with {wrong[0]}")
    rate = len(took) / spent
    print(f"{len(phones)} tasters, {len(took)} sheets in {spent:.0f} s ({rate:.1f} a second); meant for 2 cores")
    least = describe("smallest answer, alone", baseline)
    p95 = describe("submission of a sheet", took)
    told = f"{p95 / BOUND_MS:.2f} of the bound ({BOUND_MS:.0f} ms), {p95 / least:.1f} of the smallest answer"
    print(f"p95 of a submission: {told}")


if __name__ == "__main__":
    main()
