"""Tasters' phones in a real browser, on plain http, with the network coming and going."""

import json
import re

import pytest

pytestmark = pytest.mark.browser


def opened(context, address):
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector("html[data-taste=ready]", state="attached")
    return page


def cup(page, code):
    return page.locator(f"section[data-code='{code}']")


def fill_cup(page, code, attribute, score):
    cup(page, code).get_by_role("textbox", name=attribute).fill(score)


def go(page, code):
    page.evaluate("code => document.querySelector(`a[data-go='${code}']`).click()", code)
    cup(page, code).wait_for()


def hand_in(page, code):
    cup(page, code).locator("[data-hand-in]").click()


def count(page):
    return page.locator("[data-part=count]")


def poured(on_server, name, service="black"):
    laid = on_server.laid
    return [c for c in laid["orders"][name] if c in laid["poured"] and laid["services"][c] == service]


def wait_for_count(page, text):
    page.wait_for_function(
        "text => document.querySelector('[data-part=count]').textContent.includes(text)",
        arg=text,
        polling=100,
        timeout=60_000,  # a page that was closed while it sent keeps its turn for 15 s
    )


NOTHING = "Nothing waits"


def test_a_phone_that_loses_the_network_mid_table_loses_nothing(on_server, chromium):
    context = on_server.phone(chromium, "Ida")
    page = opened(context, on_server.page)
    assert page.evaluate("[isSecureContext, 'serviceWorker' in navigator]") == [False, False]
    first, second = poured(on_server, "Ida")
    # The page opens at the first cup of the own order; the keypad takes a comma.
    assert cup(page, first).is_visible()
    fill_cup(page, first, "sweetness", "6,5")
    cup(page, first).locator("label.tap", has_text="ashy").click()
    cup(page, first).get_by_role("button", name="plum").click()
    hand_in(page, first)
    cup(page, second).wait_for()  # goes on to the next by itself
    wait_for_count(page, NOTHING)

    context.set_offline(True)
    # The slider starts without a score; a tap at its middle is one.
    dial = cup(page, second).get_by_role("slider", name="acidity")
    assert dial.get_attribute("aria-valuetext") == "not scored yet"
    dial.click()
    assert cup(page, second).get_by_role("textbox", name="acidity").input_value() == "5"
    hand_in(page, second)
    wait_for_count(page, "1 sheet waits on this phone")
    page.locator("[data-part=line]", has_text="does not answer").wait_for()
    # A cup of the milk drinks is begun, not handed in.
    milk = next(c for c in on_server.laid["orders"]["Ida"] if on_server.laid["services"][c] == "milk")
    page.locator("section.cup:visible a[data-go=end]").first.click()
    page.locator(f"a[data-go='{milk}']").last.click()
    cup(page, milk).locator("textarea").fill("cocoa, soft")
    page.wait_for_timeout(400)

    context.set_offline(False)
    wait_for_count(page, NOTHING)
    page.reload()
    page.wait_for_selector("html[data-taste=ready]", state="attached")
    assert cup(page, milk).locator("textarea").input_value() == "cocoa, soft"
    assert page.locator(f"[data-state='{first}'] [data-word]").first.text_content() == "handed in"
    assert cup(page, second).get_by_role("textbox", name="acidity", include_hidden=True).input_value() == "5"
    arrived = [(code, who) for _, code, who, _ in on_server.sheets()]
    assert arrived == [(first, "Ida"), (second, "Ida")]
    scored = on_server.ask(
        "found = [[sorted(s.scores.values_list('attribute__name', 'score')), s.words, "
        "sorted(s.answers.filter(heard=True).values_list('fault__name', flat=True)), s.answers.count()] "
        f"for s in Sheet.objects.filter(cup__table={on_server.laid['table']}).order_by('pk')]"
    )
    assert scored == [[[["sweetness", 6.5]], "plum", ["ashy"], 3], [[["acidity", 5.0]], "", [], 3]]
    context.close()


def close_offline(page):
    """Leave no request on its way or to come: the driver's network comes back while a page or a phone is closed."""
    page.locator("[data-part=line]", has_text="does not answer").first.wait_for(state="attached")
    page.evaluate("() => { window.fetch = () => Promise.reject(new TypeError('no network')); }")


def test_a_queue_outlives_the_page(on_server, chromium):
    context = on_server.phone(chromium, "Ida")
    page = opened(context, on_server.page)
    code = poured(on_server, "Ida")[0]
    context.set_offline(True)
    fill_cup(page, code, "sweetness", "7")
    hand_in(page, code)
    wait_for_count(page, "1 sheet waits")
    close_offline(page)
    page.close()
    assert on_server.sheets() == []
    context.set_offline(False)
    page = opened(context, f"{on_server.served.room}/taste/")  # any page of this room sends
    wait_for_count(page, NOTHING)
    assert [row[1:3] for row in on_server.sheets()] == [[code, "Ida"]]
    context.close()


def test_an_answer_that_is_lost_doubles_nothing(on_server, chromium):
    context = on_server.phone(chromium, "Ida")
    page = opened(context, on_server.page)
    code = poured(on_server, "Ida")[0]
    statuses = []

    def lose_first(route):
        # The driver does not know the made-up name: it asks the machine by its number, in the name of the name.
        address = route.request.url.replace(on_server.served.room, on_server.served.here)
        host = on_server.served.room.removeprefix("http://")
        answer = route.fetch(url=address, headers={**route.request.headers, "host": host})
        statuses.append(answer.status)
        if len(statuses) == 1:
            route.abort()
        elif len(statuses) == 2:  # a portal of the wifi that says yes to everything
            route.fulfill(status=200, content_type="text/html", body="<h1>Welcome</h1>")
        else:
            route.fulfill(response=answer)

    page.route("**/sheets", lose_first)
    fill_cup(page, code, "sweetness", "7")
    hand_in(page, code)
    wait_for_count(page, "1 sheet waits")
    wait_for_count(page, NOTHING)
    assert statuses == [201, 200, 200]
    assert len(on_server.sheets()) == 1
    context.close()


@pytest.mark.parametrize("status", [400, 500])
def test_a_sheet_on_which_the_server_stumbles_is_not_said_to_need_its_taster(on_server, chromium, status):
    """A page instead of an answer, such as while the database is locked: neither a refusal nor the end of the queue."""
    context = on_server.phone(chromium, "Ida")
    page = opened(context, on_server.page)
    first, second = poured(on_server, "Ida")
    stumbles, seen = {first}, []

    def stumble(route):
        code = json.loads(route.request.post_data)["code"]
        seen.append(code)
        if code in stumbles:
            route.fulfill(status=status, content_type="text/html", body="<h1>Something went wrong here</h1>")
        else:
            route.continue_()

    page.route("**/sheets", stumble)
    for code in (first, second):
        fill_cup(page, code, "sweetness", "7")
        hand_in(page, code)
    if status == 500:  # it may be this one sheet: those behind it go on
        for _ in range(40):
            page.wait_for_timeout(250)
            if arrived := [row[1] for row in on_server.sheets()]:
                break
        assert arrived == [second]
    page.wait_for_timeout(2500)
    assert seen.count(first) > 1
    assert "needs you" not in count(page).text_content()
    stumbles.clear()
    page.evaluate("window.dispatchEvent(new Event('online'))")
    wait_for_count(page, NOTHING)
    assert {row[1] for row in on_server.sheets()} == {first, second}
    context.close()


def test_a_log_in_that_ended_keeps_the_queue_and_nobody_else_sends_it(on_server, chromium):
    context = on_server.phone(chromium, "Ida")
    page = opened(context, on_server.page)
    code = poured(on_server, "Ida")[0]
    context.clear_cookies(name="evenhand_session")
    fill_cup(page, code, "sweetness", "7")
    hand_in(page, code)
    page.locator("[data-part=line]", has_text="log-in has ended").wait_for()
    link = page.locator("[data-part=log-in] a")
    assert link.get_attribute("href").endswith(f"?next=/taste/{on_server.laid['table']}/")
    link.click()
    page.wait_for_url(re.compile("/people/sign-in/"))

    on_server.log_in(context, "Bo")
    page = opened(context, on_server.page)
    page.locator("[data-part=others]", has_text="Ida").wait_for()
    page.wait_for_timeout(1500)
    assert on_server.sheets() == []

    on_server.log_in(context, "Ida")
    page = opened(context, on_server.page)
    wait_for_count(page, NOTHING)
    assert [row[1:3] for row in on_server.sheets()] == [[code, "Ida"]]
    context.close()


def test_somebody_else_who_logs_in_beside_an_open_page_sends_nothing(on_server, chromium):
    context = on_server.phone(chromium, "Ida")
    page = opened(context, on_server.page)
    code = poured(on_server, "Ida")[0]
    on_server.log_in(context, "Bo")
    fill_cup(page, code, "sweetness", "7")
    hand_in(page, code)
    page.locator("[data-part=line]", has_text="Somebody else is logged in").wait_for()
    assert on_server.sheets() == []
    context.close()


def test_a_refused_sheet_is_kept_shown_and_mended(on_server, chromium, axe):
    code = poured(on_server, "Ida")[0]
    first = on_server.phone(chromium, "Ida")
    second = on_server.phone(chromium, "Ida")
    page, other = opened(first, on_server.page), opened(second, on_server.page)
    second.set_offline(True)  # this phone does not learn of the other's sheet
    fill_cup(page, code, "sweetness", "7")
    hand_in(page, code)
    wait_for_count(page, NOTHING)

    fill_cup(other, code, "sweetness", "4.25")
    hand_in(other, code)
    wait_for_count(other, "1 sheet waits")
    second.set_offline(False)
    wait_for_count(other, "1 sheet needs you")
    other.get_by_text("has a sheet on cup").wait_for()
    other.get_by_text("What to do").click()
    other.evaluate(axe)
    assert other.evaluate("axe.run()")["violations"] == []
    assert other.evaluate("document.documentElement.scrollWidth") == 360
    other.reload()
    other.wait_for_selector("html[data-taste=ready]", state="attached")
    wait_for_count(other, "1 sheet needs you")
    assert len(on_server.sheets()) == 1

    other.get_by_text("What to do").click()
    other.get_by_role("button", name="Open and mend").click()
    assert cup(other, code).get_by_role("textbox", name="sweetness").input_value() == "4.25"
    fill_cup(other, code, "sweetness", "5")
    hand_in(other, code)
    wait_for_count(other, NOTHING)
    (old, *_, successor), (new, *_) = on_server.sheets()
    assert successor == new
    assert old != new
    first.close()
    second.close()


def test_corrections_made_offline_arrive_in_order_from_a_phone_whose_clock_is_wrong(on_server, chromium):
    context = on_server.phone(chromium, "Ida")
    context.add_init_script("const now = Date.now; Date.now = () => now() + 3 * 3600 * 1000;")
    page = opened(context, on_server.page)
    code, following = poured(on_server, "Ida")
    context.set_offline(True)
    for score in ("7", "6", "5.5"):
        go(page, code)
        fill_cup(page, code, "sweetness", score)
        hand_in(page, code)
        cup(page, following).wait_for()
    wait_for_count(page, "3 sheets wait")
    assert page.locator(f"section[data-code='{code}'] [data-hand-in]").text_content() == f"Correct {code}"
    context.set_offline(False)
    wait_for_count(page, NOTHING)
    rows = on_server.sheets()
    assert [row[1] for row in rows] == [code] * 3
    assert [row[3] for row in rows] == [rows[1][0], rows[2][0], None]
    context.close()


def test_two_tabs_send_a_sheet_once(on_server, chromium):
    context = on_server.phone(chromium, "Ida")
    sent = []
    # Those that got an answer: while offline each tab tries now and then, and nothing leaves the phone.
    context.on("requestfinished", lambda request: request.method == "POST" and sent.append(request.url))
    page, other = opened(context, on_server.page), opened(context, on_server.page)
    code = poured(on_server, "Ida")[0]
    context.set_offline(True)
    fill_cup(page, code, "sweetness", "7")
    hand_in(page, code)
    wait_for_count(page, "1 sheet waits")
    wait_for_count(other, "1 sheet waits")
    sent.clear()
    context.set_offline(False)
    wait_for_count(page, NOTHING)
    wait_for_count(other, NOTHING)
    assert len(sent) == 1
    assert len(on_server.sheets()) == 1
    context.close()


def test_a_slip_is_said_and_nothing_is_handed_in(on_server, chromium):
    context = on_server.phone(chromium, "Ida")
    page = opened(context, on_server.page)
    code = poured(on_server, "Ida")[0]
    hand_in(page, code)
    box = cup(page, code).locator("[data-errors]")
    assert "Nothing is on this sheet yet" in box.text_content()
    assert box.evaluate("box => box === document.activeElement")
    fill_cup(page, code, "sweetness", "11")
    hand_in(page, code)
    assert "from 0 to 10" in box.text_content()
    # The keypad's Enter goes on to the next input; it hands nothing in.
    cup(page, code).get_by_role("textbox", name="acidity").press("Enter")
    assert page.evaluate("document.activeElement.name").startswith("score-")
    assert cup(page, code).is_visible()
    assert on_server.sheets() == []
    context.close()


def test_unsent_sheets_leave_by_a_file_and_come_back_on_another_phone(on_server, chromium, tmp_path):
    code = poured(on_server, "Ida")[0]
    context = on_server.phone(chromium, "Ida")
    page = opened(context, on_server.page)
    context.set_offline(True)
    fill_cup(page, code, "sweetness", "7")
    hand_in(page, code)
    with page.expect_download() as download:
        page.get_by_role("button", name="Save to a file").click()
    place = tmp_path / download.value.suggested_filename
    download.value.save_as(place)
    close_offline(page)
    context.close()  # that phone is dead
    told = json.loads(place.read_text(encoding="utf-8"))
    assert [sheet["body"]["scores"] for sheet in told["sheets"]] == [{"sweetness": 7}]

    context = on_server.phone(chromium, "Ida")
    page = opened(context, f"{on_server.served.room}/taste/")
    page.locator("[data-back] summary").click()
    page.set_input_files("#brings", place)
    page.get_by_text("1 sheet is back").wait_for()
    wait_for_count(page, NOTHING)
    assert [row[1:3] for row in on_server.sheets()] == [[code, "Ida"]]
    context.close()


def test_the_phone_learns_that_a_cup_was_poured_and_that_the_table_closed(on_server, chromium):
    context = on_server.phone(chromium, "Ida")
    asked = []
    context.on("request", lambda request: request.url.endswith("/cups") and asked.append(request.headers))
    page = opened(context, on_server.page)
    laid = on_server.laid
    code = next(c for c in laid["orders"]["Ida"] if c not in laid["poured"])
    go(page, code)
    assert cup(page, code).locator("[data-unpoured]").is_visible()
    # It is tasted all the same: the sheet waits until the pull is noted.
    cup(page, code).locator("textarea").fill("cocoa")
    hand_in(page, code)
    wait_for_count(page, "1 sheet waits")
    on_server.ask(
        f"slot = Slot.objects.select_related('plan__table', 'batch').get(plan__table={laid['table']}, code='{code}')\n"
        "pull = Pull(label=f'at {slot.pk}', batch=slot.batch, pulled_at=pen.at, dose_g=18, beverage_g=36, time_s=29)\n"
        "fill_slot(pen, slot, pen.make(pull))\nfound = 1"
    )
    wait_for_count(page, NOTHING)
    assert [row[1] for row in on_server.sheets()] == [code]

    go(page, poured(on_server, "Ida")[0])
    fill_cup(page, poured(on_server, "Ida")[0], "sweetness", "6")
    on_server.ask(f"close_table(pen, Table.objects.get(pk={laid['table']}))\nfound = 1")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    page.locator("[data-closed]").wait_for()
    assert page.locator("[data-hand-in]:visible").is_disabled()
    page.reload()
    page.get_by_text("This table is closed").wait_for()
    # The page asked by itself: on the shop's tablet that keeps nobody logged in who has gone away.
    assert len(asked) > 1
    assert {headers.get("evenhand-hint") for headers in asked} == {"1"}
    context.close()


@pytest.mark.parametrize("lacks", ["scripts", "database"])
def test_a_browser_that_can_keep_nothing_hands_in_too(on_server, chromium, lacks):
    context = on_server.phone(chromium, "Ida", java_script_enabled=lacks != "scripts")
    if lacks == "database":
        context.add_init_script("Object.defineProperty(window, 'indexedDB', {value: undefined})")
    page = context.new_page()
    page.goto(on_server.page)
    page.locator("noscript p" if lacks == "scripts" else "[data-keeps-nothing]").wait_for()
    code, following = poured(on_server, "Ida")
    page.locator(f"section[data-code='{code}'] [data-hand-in]").click()
    page.locator(".errors:visible", has_text="Nothing is on this sheet yet").wait_for()
    page.get_by_label("sweetness").locator("visible=true").fill("6,5")
    page.locator(f"section[data-code='{code}'] [data-hand-in]").click()
    page.wait_for_url(re.compile(rf"\?cup={following}$"))
    assert cup(page, following).is_visible()
    assert [row[1:3] for row in on_server.sheets()] == [[code, "Ida"]]
    context.close()
