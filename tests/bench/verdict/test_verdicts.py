"""The verdict pages: the list, one batch, and what is locked while a table is open."""

import re

import pytest
from django.utils import timezone

from evenhand.bench import judging, telling
from evenhand.bench._judging_text import read_verdict, write_verdict
from evenhand.bench.models import Judged, Place, Seat, Slot, TablePlan
from evenhand.bench.verdict import board
from evenhand.output.judgement_file import to_block
from evenhand.records.audit import head
from evenhand.records.models import Batch, Cup, Person, Pull, Table, Verdict
from evenhand.records.sheets import take_sheet
from evenhand.records.signing import sign, withdraw


@pytest.fixture
def judged(shop):
    judging.judge_now()


def number(label):
    return Batch.objects.get(label=label).pk


@pytest.fixture
def seated(judged, pen):
    """H-01 on an open table with Wim and Ida, its cup poured under code 731."""
    table = pen.make(Table(name="T09", state="open", opened_at=timezone.now()))
    plan = TablePlan.objects.create(table=table, join_code="CDFHJK", planned_by="Una", planned_at=timezone.now())
    batch = Batch.objects.get(label="H-01")
    pull = Pull.objects.get(label="H-01-1")
    slot = Slot.objects.create(plan=plan, number=1, batch=batch, service="black", code="731", pull=pull)
    pen.make(Cup(code="T09-731", pull=pull, service="black", table=table, position=1))
    for name in ("Wim", "Ida"):
        seat = Seat.objects.create(plan=plan, taster=Person.objects.get(name=name))
        Place.objects.create(seat=seat, slot=slot, position=1)
    return table


def test_the_list_shows_what_waits_with_the_riskiest_first(client_as, judged):
    text = client_as("Wim").get("/verdicts/").content.decode()
    places = {label: text.find(f"<b>{label}</b>") for label in ("H-01", "F-01", "H-02", "F-02")}
    assert places["H-02"] == places["F-02"] == -1  # never tasted: nothing to sign
    good = dict(Judged.objects.values_list("batch__label", "p_good"))
    first, second = sorted(("H-01", "F-01"), key=lambda label: good[label])
    assert 0 < places[first] < places[second]


@pytest.mark.parametrize(
    ("state", "shown"),
    [
        ("untasted", {"H-02", "F-02"}),
        ("all", {"H-01", "F-01", "H-02", "F-02"}),
        ("hold", set()),
        ("nonsense", {"H-01", "F-01"}),
    ],
)
def test_the_list_can_be_narrowed(client_as, judged, state, shown):
    text = client_as("Wim").get("/verdicts/", {"state": state}).content.decode()
    assert {label for label in ("H-01", "F-01", "H-02", "F-02") if f"<b>{label}</b>" in text} == shown


def test_the_list_takes_the_same_few_queries_however_long_it_is(client_as, judged, pen, django_assert_max_num_queries):
    version = Batch.objects.get(label="H-02").version
    for i in range(60):
        pen.make(Batch(label=f"N-{i}", version=version, roasted_on="2026-05-20"))
    client = client_as("Wim")
    client.get("/verdicts/")
    with django_assert_max_num_queries(14):
        answer = client.get("/verdicts/?state=all&page=2")
    assert answer.content.decode().count("<b>N-") == 25


def test_the_page_tells_the_judgement(client_as, judged):
    answer = client_as("Wim").get(f"/verdicts/{number('H-01')}/")
    text = answer.content.decode()
    verdict = read_verdict(Judged.objects.get(batch__label="H-01").text)
    assert f"badge {verdict.decision}" in text
    for row in verdict.profile:
        assert f"<b>{row.estimate:.2f}</b>" in text
    assert "Profile of H-01 at the house recipe" in text
    assert "smoky" in text
    assert "one tolerance to either side" in text
    assert b"style=" not in answer.content
    assert b"<script>" not in answer.content


def test_a_batch_that_is_not_judged_says_what_to_do(client_as, shop):
    text = client_as("Wim").get(f"/verdicts/{number('H-02')}/").content.decode()
    assert "This batch is not judged yet." in text
    assert "Your decision" not in text


def test_a_judgement_that_cannot_be_read_is_no_judgement(client_as, judged):
    Judged.objects.update(text="{}")
    client = client_as("Wim")
    assert client.get(f"/verdicts/{number('H-01')}/").status_code == 200
    assert client.get(f"/verdicts/{number('H-01')}/sign/?decision=hold").status_code == 302


def test_sheets_that_the_judgement_does_not_know_are_counted(client_as, judged, pen):
    for taster in ("Bo", "Ana"):
        take_sheet(
            pen,
            client_id=taster,
            cup=Cup.objects.get(code="T01-417"),
            taster=Person.objects.get(name=taster),
            scores={"acidity": 4.0},
            faults={},
        )
    client, page = client_as("Wim"), f"/verdicts/{number('H-01')}/part/"
    assert "2 sheets are being weighed" in client.get(page).content.decode()
    assert "being weighed" not in client.get(f"/verdicts/{number('F-01')}/part/").content.decode()
    judging.judge_now()
    assert "being weighed" not in client.get(page).content.decode()


def test_why_the_last_judging_failed_stands_on_the_page(client_as, judged):
    from evenhand.bench.models import JudgingRun

    JudgingRun.objects.update(problem="The grinder ate the sheets.")
    assert "The grinder ate the sheets." in client_as("Wim").get(f"/verdicts/{number('H-01')}/").content.decode()


@pytest.mark.parametrize("name", ["Ida", "Bo"])
def test_a_taster_sees_no_verdict(client_as, judged, name):
    client, batch = client_as(name), number("H-01")
    for address in (
        "",
        "part/",
        f"{batch}/",
        f"{batch}/part/",
        f"{batch}/sign/",
        f"{batch}/paper/",
        f"{batch}/withdraw/",
    ):
        assert client.get(f"/verdicts/{address}").status_code == 403


def test_who_sits_at_the_open_table_sees_nothing_of_the_verdict(client_as, seated):
    client, batch = client_as("Wim"), number("H-01")
    p_good = Judged.objects.get(pk=batch).p_good
    for address in (f"{batch}/", f"{batch}/part/", "?state=all"):
        text = client.get(f"/verdicts/{address}").content.decode()
        assert "ocked while you taste it" in text
        assert re.search(r"(?<!\w)731(?!\w)", text) is None  # three signs of a token are no code
        assert f"<b>{read_verdict(Judged.objects.get(pk=batch).text).profile[0].estimate:.2f}</b>" not in text
    assert 0 < p_good < 1
    for address in ("sign/?decision=hold", "paper/", "withdraw/"):
        assert client.get(f"/verdicts/{batch}/{address}").status_code == 403
    assert client.post(f"/verdicts/{batch}/sign/", {"decision": "hold"}).status_code == 403


def test_neither_lists_nor_history_tell_what_is_locked(client_as, seated, pen):
    batch = Batch.objects.get(label="H-01")
    client, other = client_as("Wim"), client_as("Una")

    def shown(browser):
        pages = {state: browser.get("/verdicts/", {"state": state}).content.decode() for state in board.STATES}
        return {state for state, text in pages.items() if f"<b>{batch.label}</b>" in text}

    assert (shown(client), shown(other)) == ({"all"}, {"waiting", "all"})
    judgement = to_block(read_verdict(Judged.objects.get(pk=batch.pk).text))
    signed = sign(
        pen,
        batch,
        decision="hold",
        judgement=judgement,
        seen=head()[0],
        signer=Person.objects.get(name="Una"),
        note="tarry to me",
    )
    assert (shown(client), shown(other)) == ({"all"}, {"hold", "all"})
    withdraw(pen, signed, reason="wrong bag", by=Person.objects.get(name="Una"))
    secrets = (f"hold {batch.label}", "tarry to me", "wrong bag")
    told, everything = (browser.get("/setup/history/").content.decode() for browser in (client, other))
    assert not [secret for secret in secrets if secret in told]
    assert not [secret for secret in secrets if secret not in everything]
    pen.change(seated, state="closed", closed_at=timezone.now())
    told = client.get("/setup/history/").content.decode()
    assert not [secret for secret in secrets if secret not in told]


def test_another_lead_may_see_it_but_never_a_code(client_as, seated):
    client, batch = client_as("Una"), number("H-01")
    for address in (f"{batch}/", f"{batch}/part/", "", f"{batch}/sign/?decision=hold"):
        text = client.get(f"/verdicts/{address}").content.decode()
        assert re.search(r"(?<!\w)731(?!\w)", text) is None  # three signs of a token are no code
        assert "T01-417" not in text  # the sheets of earlier tables wait as well
    assert "Profile of H-01" in client.get(f"/verdicts/{batch}/").content.decode()


def test_the_sheets_open_once_the_table_is_closed(client_as, seated, pen):
    client, page = client_as("Wim"), f"/verdicts/{number('H-01')}/"
    pen.change(seated, state="closed", closed_at=timezone.now())
    text = client.get(page).content.decode()
    assert "T01-417" in text
    assert "<b>Ida</b>: acidity 3.5" in text


def test_the_roast_is_set_beside_the_others_of_its_coffee(client_as, judged, pen):
    version = Batch.objects.get(label="H-02").version
    for i, seconds in enumerate((600, 604, 598, 602, 601, 599)):
        pen.make(Batch(label=f"N-{i}", version=version, roasted_on=f"2026-05-{19 + i}", roast_time_s=seconds))
    odd = pen.make(Batch(label="N-9", version=version, roasted_on="2026-05-29", roast_time_s=660))
    even = pen.make(Batch(label="N-8", version=version, roasted_on="2026-05-29", roast_time_s=601))
    client = client_as("Wim")
    text = client.get(f"/verdicts/{odd.pk}/").content.decode()
    assert "clearly higher than usual" in text
    text = client.get(f"/verdicts/{even.pk}/").content.decode()
    assert "clearly" not in text.split("The roast beside")[1]


def test_dry_loss_is_what_the_formula_gives(judged, pen):
    # Worked by hand: 6 kg in with 11 % moisture, 5.1 kg out with 2 %: 1 - 5.1*0.98/(6*0.89) = 6.40 %.
    from evenhand.bench.verdict.roast import set_beside_usual

    batch = Batch.objects.get(label="H-02")
    pen.change(batch, green_moisture_pct=11.0, roasted_moisture_pct=2.0)
    (row,) = set_beside_usual(Batch.objects.select_related("version").get(pk=batch.pk))
    assert row.value == pytest.approx(6.404, abs=5e-4)
    assert row.usual is None
    assert "too few" in row.words


def test_the_paper_of_one_batch(client_as, judged):
    import io

    from pypdf import PdfReader

    answer = client_as("Wim").get(f"/verdicts/{number('H-01')}/paper/")
    assert answer["Content-Type"] == "application/pdf"
    reader = PdfReader(io.BytesIO(answer.content))
    text = "".join(page.extract_text() for page in reader.pages)
    assert "H-01" in text
    assert "F-01" not in text
    assert reader.pages[0].mediabox.width == pytest.approx(595.3, abs=0.5)  # A4: 210 mm (ISO 216)
    answer = client_as("Wim").get(f"/verdicts/{number('H-01')}/paper/?size=us-letter")
    assert PdfReader(io.BytesIO(answer.content)).pages[0].mediabox.width == pytest.approx(612, abs=0.5)


def test_names_are_escaped_wherever_they_stand(client_as, judged, pen):
    batch = Batch.objects.get(label="H-01")
    pen.change(batch, label="<b>H&1</b>")
    judging.judge_now()
    client = client_as("Wim")
    for address in ("/verdicts/", f"/verdicts/{batch.pk}/", f"/verdicts/{batch.pk}/sign/?decision=hold", "/"):
        assert "<b>H&1" not in client.get(address).content.decode()


def test_seen_is_that_of_the_whole_history(judged):
    verdict = read_verdict(Judged.objects.first().text)
    assert write_verdict(verdict) == Judged.objects.first().text
    assert Judged.objects.first().seen == head()[0]


@pytest.fixture
def marked(monkeypatch):
    """Tell every sentence of the engine and of the records between marks, as another language would."""
    monkeypatch.setattr(telling, "gettext", lambda text: f"⟦{text}⟧")
    monkeypatch.setattr(telling, "ngettext", lambda one, many, number: f"⟦{one if number == 1 else many}⟧")


@pytest.mark.parametrize("page", ["/verdicts/{}/", "/verdicts/{}/part/", "/verdicts/{}/sign/?decision=hold"])
def test_a_kept_judgement_is_told_in_the_language_of_the_page(client_as, judged, marked, page):
    text = client_as("Wim").get(page.format(number("H-01"))).content.decode()
    reasons = re.findall(r"<li>(.*?)</li>", text[text.index('<ul class="reasons">') :].split("</ul>")[0])
    assert reasons
    assert all("⟦" in reason for reason in reasons)
    if "sign" not in page:
        assert re.search(r"One more tasting</h3><p>⟦", text)
        assert re.search(r'<p class="soft">⟦+', text)
        assert re.search(r"<title id=\"profile-t\">⟦", text)
        assert re.search(r"<title id=\"pulls-t\">⟦", text)


def test_what_is_signed_is_english_whatever_the_page_speaks(client_as, judged, marked):
    lead, address = client_as("Wim"), f"/verdicts/{number('H-01')}/sign/?decision=hold"
    mark = re.search(r'name="mark" value="(\w+)"', lead.get(address).content.decode()).group(1)
    lead.post(address, {"decision": "hold", "mark": mark, "note": "as tasted"})
    signed = Verdict.objects.get()
    assert "probability" in signed.judgement_text
    assert "⟦" not in signed.judgement_text


def test_a_refused_signature_is_told_in_the_language_of_the_page(client_as, judged, marked):
    address = f"/verdicts/{number('H-01')}/sign/?decision=hold"
    answer = client_as("Wim").post(address, {"decision": "hold", "mark": "another", "note": "as tasted"})
    assert answer.status_code == 422
    assert "⟦The judgement of batch H-01 has changed" in answer.content.decode()
