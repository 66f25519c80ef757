"""In a browser, through the name that phones use: the first run, the shop's tablet changing hands, the keypad."""

import os
import re
import subprocess
import sys

import pytest

pytestmark = pytest.mark.browser


def test_a_tablet_from_the_first_run_to_the_next_person(start_server, chromium, tmp_path, password, pin):
    environment = {**os.environ, "EVENHAND_DATA": os.fspath(tmp_path)}
    served = start_server(tmp_path)
    context = chromium.new_context(viewport={"width": 360, "height": 740})
    page = context.new_page()
    page.goto(f"{served.room}/")
    page.get_by_role("link", name="Answer five questions").click()
    for label, text in {
        "Name of the shop": "Bell Yard",
        "Your name": "Marit",
        "Name of your first coffee": "Hollow Lantern",
    }.items():
        page.get_by_label(label).fill(text)
    page.get_by_label("Password", exact=True).fill(password)
    page.get_by_label("Password again").fill("another one altogether")
    page.get_by_role("button", name="Set the bench up").click()
    page.wait_for_selector(".errors:focus")
    assert page.evaluate("document.activeElement.className") == "errors"
    assert page.get_by_label("Name of your first coffee").input_value() == "Hollow Lantern"
    page.get_by_label("Password", exact=True).fill(password)
    page.get_by_label("Password again").fill(password)
    page.locator("[name=pin]").fill(pin)
    page.get_by_role("button", name="Set the bench up").click()
    page.wait_for_url(f"{served.room}/")

    page.goto(f"{served.room}/setup/people/")
    page.locator("[name=name]").fill("Bo")
    page.locator("[name=pin]").fill("8053")
    page.get_by_role("button", name="Add").click()
    page.get_by_role("button", name="Log out").click()
    page.locator("main").get_by_role("link", name="Bo").wait_for()
    page.wait_for_load_state()  # sizes need the style
    for name in ("Marit", "Bo"):
        box = page.locator("main").get_by_role("link", name=name).bounding_box()
        assert box["height"] >= 60
    page.locator("main").get_by_role("link", name="Bo").click()
    field = page.get_by_label("PIN")
    field.wait_for()
    page.wait_for_load_state()
    assert field.evaluate("e => [e.type, e.inputMode, e.autocomplete, document.activeElement === e]") == [
        "password",
        "numeric",
        "off",
        True,
    ]
    field.fill("1357")
    page.keyboard.press("Enter")
    page.wait_for_selector(".errors")
    page.locator("[name=pin]").fill("8053")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/taste/"))
    page.wait_for_load_state()
    assert page.locator(".who").inner_text().startswith("Bo")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    context.close()

    phone = chromium.new_context(viewport={"width": 360, "height": 740}).new_page()
    phone.goto(f"{served.room}/people/sign-in/")
    assert phone.get_by_label("Password").count() == 1
    assert "Bo" not in phone.locator("main").inner_text()
    phone.context.close()
    told = subprocess.run(
        [sys.executable, "-c", _VERIFY], env=environment, capture_output=True, text=True, check=True
    ).stdout
    assert told.strip() == "None"


_VERIFY = """
import os
os.environ["DJANGO_SETTINGS_MODULE"] = "evenhand.bench.settings"
from evenhand.records.opening import open_records
open_records()
from evenhand.records.chain import verify_chain
print(verify_chain().broken)
"""
