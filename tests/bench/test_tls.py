"""Under `--tls` the bench speaks https by its own certificate, and its cookies travel that way alone."""

import os
import re
import ssl
import subprocess
import sys
import urllib.error
import urllib.request

import pytest

FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]


@pytest.fixture
def over_tls(tmp_path, fill):
    fill(tmp_path)
    process = subprocess.Popen(
        [sys.executable, "-m", "evenhand", "serve", "--port", "0", "--tls", "--name", "bench.test"],
        env={**os.environ, "EVENHAND_DATA": os.fspath(tmp_path), "LC_ALL": "C.UTF-8"},
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    said = []
    for line in process.stdout:
        said.append(line)
        if found := re.search(r"open at https://[^:]+:(\d+)/", line):
            break
    else:
        raise AssertionError("".join(said))
    yield int(found[1]), tmp_path, process
    process.terminate()
    process.wait(10)


def test_a_device_that_trusts_the_certificate_is_served_and_its_cookies_are_secure(over_tls):
    port, data, _ = over_tls
    trusting = ssl.create_default_context(cafile=os.fspath(data / "bench.crt"))
    with urllib.request.urlopen(f"https://localhost:{port}/people/sign-in/password/", context=trusting) as answer:
        assert answer.status == 200
        cookies = answer.headers.get_all("Set-Cookie")
    assert cookies
    assert all("; Secure" in cookie for cookie in cookies)
    with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
        urllib.request.urlopen(f"https://localhost:{port}/", context=ssl.create_default_context())


@pytest.mark.browser
def test_the_tasting_page_opens_without_the_network_once_it_was_open(over_tls, chromium, password):
    port, _, process = over_tls
    told = [*FLAGS, "--ignore-certificate-errors"]  # in place of telling a device to trust the certificate
    browser = chromium.browser_type.launch(executable_path="/usr/bin/chromium", args=told)
    try:
        page = browser.new_context(ignore_https_errors=True).new_page()
        page.goto(f"https://localhost:{port}/people/sign-in/password/?next=/taste/")
        page.get_by_label("Name").fill("Ida")
        page.get_by_label("Password").fill(password)
        page.get_by_role("main").get_by_role("button").first.click()
        page.wait_for_url("**/taste/")
        heading = page.get_by_role("heading", level=1).inner_text()
        page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
        page.reload()  # now through the worker, which keeps the page and its files
        page.wait_for_load_state("networkidle")
        process.terminate()
        process.wait(10)
        page.reload()
        assert page.get_by_role("heading", level=1).inner_text() == heading
    finally:
        browser.close()
