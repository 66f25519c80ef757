"""Planning and watching a table in a real browser, over plain http as on the shop's wifi."""

import re

import pytest

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def served(start_server, fill, tmp_path_factory):
    data = tmp_path_factory.mktemp("table")
    fill(data)
    return start_server(data)


def _log_in(context, served, password):
    page = context.new_page()
    page.goto(served.room + "/tables/")
    page.get_by_label("Name", exact=True).fill("Wim")
    page.get_by_label("Password", exact=True).fill(password)
    page.get_by_role("main").get_by_role("button", name="Log in").click()
    page.get_by_role("heading", name="Tables").wait_for()
    return page


@pytest.mark.parametrize("size", [(360, 740), (820, 1180)])
def test_a_table_is_planned_opened_watched_and_closed(served, chromium, password, size):
    context = chromium.new_context(viewport={"width": size[0], "height": size[1]})
    problems: list[str] = []
    page = _log_in(context, served, password)
    page.on("pageerror", lambda error: problems.append(str(error)))
    page.on("console", lambda said: problems.append(said.text) if "Security Policy" in said.text else None)
    page.get_by_role("link", name="Plan a table").click()

    # looking for a batch redraws the list and nothing else; what is ticked stays
    page.get_by_role("checkbox", name=re.compile("^H-02")).check()
    find = page.get_by_label("Find by label or coffee")
    find.press_sequentially("ferry")
    page.get_by_role("checkbox", name=re.compile("^H-01")).wait_for(state="detached")
    assert find.evaluate("field => field === document.activeElement")
    assert page.get_by_role("checkbox", name=re.compile("^H-02")).is_checked()
    page.get_by_role("checkbox", name=re.compile("^F-02")).check()
    for name in ("Ida", "Bo"):
        page.get_by_role("checkbox", name=name, exact=True).set_checked(True)
    for name in ("Una", "Wim", "Lev"):
        page.get_by_role("checkbox", name=name, exact=True).set_checked(False)
    page.get_by_label("In milk").fill("0")
    page.get_by_text("4 pulls, 4 cups").wait_for()
    page.get_by_role("row", name=re.compile("Bo 4 346 mg")).wait_for()  # 4 x 172.8 mg shared by two
    page.get_by_role("button", name="Plan this table").click()

    page.get_by_role("button", name=re.compile("^Open T")).click()
    page.get_by_text("0 of 8 sheets in").wait_for()
    address = page.url

    # another device seats Lev: this page follows by itself, without being loaded again
    page.evaluate("window.wasHere = true")
    other = context.new_page()
    other.goto(address)
    other.get_by_text("Change who sits here").click()
    other.get_by_label("Seat one more taster").select_option(label="Lev")
    other.get_by_role("button", name="Seat", exact=True).click()
    page.get_by_text("0 of 12 sheets in").wait_for()
    page.get_by_role("heading", name=re.compile("^Lev")).wait_for()
    assert page.evaluate("window.wasHere") is True

    # closing asks in another place, and says what is missing
    other.get_by_role("link", name=re.compile("^Close T")).click()
    other.get_by_text("4 cups were never pulled.").wait_for()
    other.get_by_role("button", name="without them").click()
    other.get_by_role("heading", name="What each code was").wait_for()
    page.get_by_role("heading", name="What each code was").wait_for()  # and the first page follows
    page.wait_for_load_state()  # with its style: without it the page is wider
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert problems == []
    context.close()


def test_a_phone_joins_by_the_code_and_is_led_to_names(served, chromium, password):
    lead = chromium.new_context(viewport={"width": 820, "height": 1180})
    page = _log_in(lead, served, password)
    page.goto(served.room + "/tables/plan/")
    page.get_by_role("checkbox", name=re.compile("^F-01")).check()
    page.get_by_role("checkbox", name="Ida", exact=True).check()
    page.get_by_role("button", name="Plan this table").click()
    address = page.locator(".address").inner_text()
    page.wait_for_load_state()
    assert address.startswith("HTTP://BENCH.TEST:")
    assert page.locator(".qr svg").bounding_box()["width"] > 200
    lead.close()
    phone = chromium.new_context(viewport={"width": 360, "height": 740})
    page = phone.new_page()
    page.goto(address)
    page.get_by_text("Ida", exact=True).first.wait_for()
    assert "/people/sign-in/" in page.url
    assert "taste" in page.url
    phone.close()
