"""The server is killed at random moments while sheets arrive: nothing that was answered is lost, nothing is doubled."""

import contextlib
import http.client
import json
import os
import random
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from urllib.parse import urlencode

import pytest

LAY = Path(__file__).parents[2] / "benchmarks" / "lay_table.py"
TASTERS, BATCHES, PULLS = 25, 10, 2
SHEETS = TASTERS * BATCHES * PULLS
KILLS = 6

_COUNT = """
import json, os
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from evenhand.records.chain import verify_chain
from evenhand.records.models import Entry, Score, Sheet
found = verify_chain()
print(json.dumps({
    "ids": list(Sheet.objects.values_list("client_id", flat=True)),
    "pairs": len(set(Sheet.objects.values_list("cup", "taster"))),
    "scores": Score.objects.count(),
    "entries": Entry.objects.filter(kind="sheet").count(),
    "broken": None if found.broken is None else str(found.broken),
}))
"""


class Phone:
    """Sends as the page does: the same sheet under the same id until an answer says that it is kept."""

    def __init__(self, port, name, password):
        self.port, self.cookies = port, {}
        self.ask("GET", "/people/sign-in/password/")
        form = {"name": name, "password": password, "csrfmiddlewaretoken": self.cookies["evenhand_csrf"]}
        status, _ = self.ask("POST", "/people/sign-in/password/", urlencode(form), "application/x-www-form-urlencoded")
        assert status in (302, 303)

    def ask(self, method, path, body=None, kind="application/json"):
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=5)
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self.cookies.items())}
        if body is not None:
            headers |= {"Content-Type": kind, "X-CSRFToken": self.cookies["evenhand_csrf"]}
        with contextlib.closing(line):
            line.request(method, path, body, headers)
            answer = line.getresponse()
            for field in answer.headers.get_all("Set-Cookie") or []:
                name, value = field.split(";")[0].split("=", 1)
                self.cookies[name] = value
            return answer.status, answer.read()

    def send(self, path, sheet, deadline):
        """Return the answers until one says that the sheet is kept; None stands for no answer."""
        answers = []
        while time.monotonic() < deadline:
            try:
                status, said = self.ask("POST", path, json.dumps(sheet))
            except (OSError, http.client.HTTPException):
                answers.append(None)
                time.sleep(0.05)
                continue
            answers.append(status)
            if status in (200, 201):
                return answers
            assert status >= 500, said  # a server that is being killed may fail, never refuse
        raise AssertionError(f"not kept in time: {answers[-5:]}")


@pytest.mark.slow
def test_killing_the_server_loses_no_sheet_and_doubles_none(start_server, tmp_path):
    words = [sys.executable, os.fspath(LAY), os.fspath(tmp_path), "--tasters", str(TASTERS)]
    words += ["--batches", str(BATCHES), "--pulls", str(PULLS)]
    done = subprocess.run(words, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    laid = json.loads(done.stdout)
    served = start_server(tmp_path)
    phones = [Phone(served.port, one["name"], laid["password"]) for one in laid["tasters"]]
    dice = random.Random(20260105)
    kept, failed = {}, []
    deadline = time.monotonic() + 240

    def taste(phone, taster, own):
        try:
            for code in laid["codes"]:
                sheet = {
                    "client_id": f"{own.getrandbits(128):032x}",
                    "taster": taster["pk"],
                    "code": code,
                    "scores": {name: own.randint(0, 20) / 2 for name in laid["scales"]},
                    "faults": {"smoky": False},
                    "words": "",
                    "tasted_at": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime()),
                }
                kept[sheet["client_id"]] = phone.send(f"/taste/{laid['table']}/sheets", sheet, deadline)
                time.sleep(own.uniform(0.1, 0.6))
        except BaseException as error:
            failed.append(error)

    threads = [
        threading.Thread(target=taste, args=(phone, taster, random.Random(number)))
        for number, (phone, taster) in enumerate(zip(phones, laid["tasters"], strict=True))
    ]
    for thread in threads:
        thread.start()
    for _ in range(KILLS):
        time.sleep(dice.uniform(0.3, 1.2))
        os.kill(served.process.pid, signal.SIGKILL)
        served.process.wait()
        served = start_server(tmp_path, port=served.port)
    for thread in threads:
        thread.join()
    assert not failed, failed[0]
    assert any(None in answers for answers in kept.values()), "no kill met a submission; the test showed nothing"

    served.process.send_signal(signal.SIGINT)
    served.process.wait(20)
    count = subprocess.run([sys.executable, "-c", _COUNT], env=served.environment, capture_output=True, text=True)
    assert count.returncode == 0, count.stderr
    found = json.loads(count.stdout)
    assert len(kept) == SHEETS
    assert sorted(found["ids"]) == sorted(kept)  # nothing lost, nothing doubled, nothing that was never sent
    assert found["pairs"] == found["entries"] == SHEETS
    assert found["scores"] == SHEETS * len(laid["scales"])
    assert found["broken"] is None
