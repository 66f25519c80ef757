"""The server as people start it: what it says, where it listens, how it stops."""

import http.client
import os
import signal
import subprocess
import sys
import time
from urllib.parse import urlencode

import pytest

from evenhand.bench.serving import Place, _drawn, secret_key
from evenhand.records._refusals import RecordError


def get(served, path, host=None):
    line = http.client.HTTPConnection("127.0.0.1", served.port, timeout=10)
    line.request("GET", path, headers={"Host": host or f"127.0.0.1:{served.port}"})
    answer = line.getresponse()
    body = answer.read()
    line.close()
    return answer, body


def open_stream(port, password):
    """Log Ida in, and open her stream of hints."""
    line, cookies = http.client.HTTPConnection("127.0.0.1", port, timeout=10), {}

    def ask(method, path, body=None):
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items())}
        headers["Content-Type"] = "application/x-www-form-urlencoded"
        line.request(method, path, body, headers)
        answer = line.getresponse()
        for field in answer.headers.get_all("Set-Cookie") or []:
            name, value = field.split(";")[0].split("=", 1)
            cookies[name] = value
        return answer

    ask("GET", "/people/sign-in/password/").read()
    form = {"name": "Ida", "password": password, "csrfmiddlewaretoken": cookies["evenhand_csrf"]}
    ask("POST", "/people/sign-in/password/", urlencode(form)).read()
    stream = ask("GET", "/live/")
    assert stream.status == 200
    return line, stream


def test_it_answers_by_its_own_names_alone_and_stops_at_once_with_a_stream_open(start_server, tmp_path, fill, password):
    fill(tmp_path)
    served = start_server(tmp_path)
    assert get(served, "/people/sign-in/password/")[0].status == 200
    assert get(served, "/people/sign-in/password/", host="bench.test")[0].status == 200
    assert get(served, "/people/sign-in/password/", host="elsewhere.test")[0].status == 400
    answer, _ = get(served, "/static/bench/bench.css")
    assert answer.status == 200
    assert answer.headers["Content-Type"].startswith("text/css")
    assert get(served, "/live/")[0].status == 204
    line, stream = open_stream(served.port, password)
    assert stream.readline() == b"retry: 2000\n"
    began = time.monotonic()
    served.process.send_signal(signal.SIGINT)
    assert served.process.wait(20) == 0
    assert time.monotonic() - began < 10
    line.close()


def test_ctrl_c_stops_it_and_the_judging_beside_it_without_a_word(tmp_path):
    process = subprocess.Popen(
        [sys.executable, "-m", "evenhand", "serve", "--port", "0"],
        env={**os.environ, "EVENHAND_DATA": os.fspath(tmp_path)},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    said = []
    for line in process.stdout:
        said.append(line)
        if "Stop with Ctrl-C" in line:
            break
    time.sleep(2.0)  # the judging process is on its feet by then
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the whole group
    rest, _ = process.communicate(timeout=20)  # ends when the last of them has let go of the pipe
    assert rest == ""
    assert process.returncode == 0


def test_a_port_that_is_taken_is_said_in_one_sentence(start_server, tmp_path):
    served = start_server(tmp_path)
    done = subprocess.run(
        [sys.executable, "-m", "evenhand", "serve", "--port", str(served.port)],
        env={**os.environ, "EVENHAND_DATA": os.fspath(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 2
    assert f"port {served.port}" in done.stderr
    assert "--port" in done.stderr
    assert "Traceback" not in done.stderr


def test_the_key_for_log_ins_is_made_once_and_read_by_nobody_else(tmp_path):
    key = secret_key(tmp_path / "new")
    assert len(key) >= 43
    assert secret_key(tmp_path / "new") == key
    assert os.stat(tmp_path / "new" / "web.key").st_mode & 0o077 == 0
    (tmp_path / "web.key").write_text("short\n")
    with pytest.raises(RecordError, match="delete the file"):
        secret_key(tmp_path)


def test_only_loopback_is_closed_to_the_room():
    assert not Place().is_open
    assert not Place(host="::1").is_open
    assert Place(host="0.0.0.0").is_open


def test_the_code_on_the_terminal_has_its_quiet_zone_and_reads_as_the_code():
    import segno

    code = segno.make("HTTP://192.0.2.7:8000/", error="m", micro=False)
    lines = _drawn(code)
    cells = [[bool(cell) for cell in row] for row in code.matrix_iter(border=4)]
    tops = {"█": False, "▀": False, "▄": True, " ": True}
    bottoms = {"█": False, "▀": True, "▄": False, " ": True}
    read = []
    for line in lines:
        read.append([tops[sign] for sign in line])
        read.append([bottoms[sign] for sign in line])
    assert read[: len(cells)] == cells
    assert set("".join(lines[:2])) == {"█"}


def test_the_pages_start_without_scipy():
    """A cold start with the science loaded took four times as long: the pages load it where they use it."""
    program = (
        "import os, sys\nos.environ['DJANGO_SETTINGS_MODULE'] = 'evenhand.bench.settings'\n"
        "import evenhand.bench.asgi\nfrom django.urls import get_resolver\nget_resolver().url_patterns\n"
        "print(sorted(m for m in sys.modules if m.split('.')[0] in ('scipy', 'typst')))"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"
