"""The tasting pages as the server sends them, and their plain form."""

import html
import re
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders

from evenhand.bench.table.planning import close_table, open_table, reopen_plan
from evenhand.records.coffees import revise_coffee
from evenhand.records.models import Attribute, Batch, Sheet


def section(answer, code):
    found = re.search(rf'<section class="cup" data-code="{code}".*?</section>', answer.content.decode(), re.DOTALL)
    assert found
    return html.unescape(found[0])


def plain(laid, code, **other):
    return f"/taste/{laid.table.pk}/?cup={code}", {"client_id": "a" * 32, "supersedes": "", "words": ""} | other


def field_of(attribute):
    return f"score-{Attribute.objects.get(name=attribute).pk}"


def poured(laid, name="Ida"):
    return [code for code in laid.order(name) if code in laid.poured()]


def test_who_sits_at_no_open_table_is_told_what_to_do(client_as, laid):
    assert "No table is open for you" in client_as("Ana").get("/taste/").content.decode()
    text = client_as("Ida").get("/taste/").content.decode()
    assert f'href="/taste/{laid.table.pk}/"' in text
    assert "0 of 4 cups handed in" in text


def test_the_list_counts_what_was_handed_in_and_a_correction_once(client_as, laid, sheet, send):
    client = client_as("Ida")
    code = poured(laid)[0]
    send(client, laid, sheet("Ida", code))
    send(client, laid, sheet("Ida", code, 2, supersedes=f"{1:032x}", words="cocoa"))
    send(client_as("Bo"), laid, sheet("Bo", code, 3))
    assert "1 of 4 cups handed in" in client.get("/taste/list/").content.decode()


def test_a_closed_or_planned_table_takes_no_cup(client_as, laid, pen):
    client = client_as("Ida")
    reopen_plan(pen, laid.table)
    assert "not open yet" in client.get(f"/taste/{laid.table.pk}/").content.decode()
    close_table(pen, open_table(pen, laid.table))
    text = client.get(f"/taste/{laid.table.pk}/").content.decode()
    assert "This table is closed" in text
    assert "<textarea" not in text
    assert laid.table.pk not in [
        int(pk) for pk in re.findall(r'href="/taste/(\d+)/"', client.get("/taste/").content.decode())
    ]


def test_the_page_shows_every_cup_in_the_own_order_and_only_the_next_one_openly(client_as, laid):
    answer = client_as("Bo").get(f"/taste/{laid.table.pk}/")
    text = answer.content.decode()
    assert re.findall(r'data-code="(\d+)"', text) == laid.order("Bo")
    shown = [code for code in laid.order("Bo") if " hidden>" not in section(answer, code).split("\n")[0]]
    assert shown == poured(laid, "Bo")[:1]


def test_rows_are_those_of_all_coffees_on_the_table_so_that_no_row_unblinds(client_as, laid, pen):
    # Only one of the two coffees has a target for bitterness in black.
    targets = {("black", "acidity"): (4, 1), ("black", "bitterness"): (5, 1), ("milk", "bitterness"): (3, 1)}
    version = revise_coffee(pen, "Hollow Lantern", targets=targets)
    batch = pen.make(Batch(label="H-03", version=version, roasted_on=pen.today))
    laid.plan.slots.filter(batch__label="H-02").update(batch=batch)
    answer = client_as("Ida").get(f"/taste/{laid.table.pk}/")
    rows = {code: re.findall(r'data-attribute="(\w+)"', section(answer, code)) for code in laid.order("Ida")}
    by_service = {}
    for code, found in rows.items():
        by_service.setdefault(laid.service(code), []).append(found)
    assert by_service == {"black": [["acidity", "sweetness", "bitterness"]] * 2, "milk": [["bitterness"]] * 2}


def test_nothing_is_scored_before_a_taster_scores_it(client_as, laid):
    answer = client_as("Ida").get(f"/taste/{laid.table.pk}/")
    for code in laid.order("Ida"):
        part = section(answer, code)
        inputs = re.findall(r'<input type="text"[^>]*>', part)
        assert inputs
        assert all('value=""' in one and 'inputmode="decimal"' in one for one in inputs)
        assert " checked" not in part


def test_the_plain_form_hands_in_and_leads_on(client_as, laid):
    code, following, *_ = poured(laid)
    address, body = plain(laid, code, heard=["ashy"], words="plum", **{field_of("sweetness"): "6,5"})
    client = client_as("Ida")
    answer = client.post(address, body)
    assert (answer.status_code, answer["Location"]) == (303, f"/taste/{laid.table.pk}/?cup={following}")
    sheet = Sheet.objects.get(client_id="a" * 32)
    assert dict(sheet.scores.values_list("attribute__name", "score")) == {"sweetness": 6.5}
    assert dict(sheet.answers.values_list("fault__name", "heard")) == {"smoky": False, "ashy": True, "baked": False}
    assert client.post(address, body).status_code == 303  # pressed twice: taken once
    assert Sheet.objects.filter(cup__table=laid.table).count() == 1


def test_the_plain_form_corrects(client_as, laid):
    code = poured(laid)[0]
    client = client_as("Ida")
    address, body = plain(laid, code, **{field_of("sweetness"): "6"})
    client.post(address, body)
    shown = section(client.get(address), code)
    assert f'name="supersedes" value="{"a" * 32}"' in shown
    assert 'value="6"' in shown
    assert f"Correct {code}" in shown
    address, body = plain(laid, code, client_id="b" * 32, supersedes="a" * 32, unasked="on", words="cocoa")
    assert client.post(address, body).status_code == 303
    sheet = Sheet.objects.get(client_id="b" * 32)
    assert (sheet.supersedes.client_id, sheet.answers.count()) == ("a" * 32, 0)
    assert 'unasked" checked' in section(client.get(address), code)


@pytest.mark.parametrize(
    ("typed", "said"),
    [("six", "is not a number"), ("11", "0 to 10"), ("", "Nothing is on this sheet yet")],
)
def test_a_plain_form_that_is_refused_keeps_what_was_typed(client_as, laid, typed, said):
    code = poured(laid)[0]
    words = "" if not typed else "<b>plum"
    address, body = plain(laid, code, words=words, heard=[] if not typed else ["smoky"], **{field_of("acidity"): typed})
    answer = client_as("Ida").post(address, body)
    assert answer.status_code == 422
    part = section(answer, code)
    assert said in part
    if typed:
        assert f'value="{typed}"' in part
        assert "<b>plum</textarea>" in part
        assert 'value="smoky" checked' in part
        assert "<b>plum" not in answer.content.decode()  # escaped on the page
    assert not Sheet.objects.filter(cup__table=laid.table).exists()


def test_a_cup_that_is_no_cup_of_the_taster_leads_back(client_as, laid):
    address, body = plain(laid, "000", words="plum")
    assert client_as("Ida").post(address, body)["Location"] == f"/taste/{laid.table.pk}/"


def test_a_page_with_every_cup_takes_the_same_queries_as_one_with_few(client_as, laid, django_assert_max_num_queries):
    client = client_as("Ida")
    client.get("/taste/")
    with django_assert_max_num_queries(16):
        client.get(f"/taste/{laid.table.pk}/")


def test_the_app_can_be_kept_on_a_phone(client, shop):
    answer = client.get("/taste/sw.js")
    assert (answer.status_code, answer["Service-Worker-Allowed"]) == (200, "/taste/")
    assert answer["Content-Type"] == "text/javascript"
    assert b"".join(answer.streaming_content)
    told = client.get("/taste/manifest.webmanifest")
    assert told["Content-Type"] == "application/manifest+json"
    assert told.json()["start_url"] == "/taste/"
    for icon in told.json()["icons"]:
        assert finders.find(icon["src"].removeprefix("/static/"))
    assert b'rel="manifest"' in client.get("/people/sign-in/", follow=True).content


def test_the_scripts_ask_for_nothing_that_plain_http_lacks():
    for name in ("store", "queue", "waiting", "sheet", "taste"):
        text = Path(finders.find(f"bench/taste/{name}.js")).read_text(encoding="utf-8")
        code = re.sub(r"//.*", "", text)
        for missing in ("randomUUID", "navigator.locks", "wakeLock", "crypto.subtle"):
            assert missing not in code


def test_words_on_several_lines_are_taken_as_a_browser_sends_them(client_as, laid):
    """A browser ends the lines of a form with carriage return and line feed (HTML standard, form submission)."""
    code = poured(laid)[0]
    address, body = plain(laid, code, words="plum\r\n\r\ncocoa")
    assert client_as("Ida").post(address, body).status_code == 303
    assert Sheet.objects.get(client_id="a" * 32).words == "plum\n\ncocoa"


def test_a_form_changed_after_going_back_can_still_be_handed_in(client_as, laid):
    """The page that the back button shows bears the number of the sheet that is stored already."""
    client, code = client_as("Ida"), poured(laid)[0]
    address, body = plain(laid, code, words="plum")
    assert client.post(address, body).status_code == 303
    refused = client.post(address, body | {"words": "cocoa"})
    assert refused.status_code == 422
    shown = section(refused, code)
    assert ">cocoa</textarea>" in shown
    fields = {name: re.search(rf'name="{name}" value="([^"]*)"', shown)[1] for name in ("client_id", "supersedes")}
    assert fields["client_id"] != body["client_id"]
    assert client.post(address, body | fields | {"words": "cocoa"}).status_code == 303
    assert Sheet.objects.get(client_id=fields["client_id"]).words == "cocoa"
