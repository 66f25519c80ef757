"""Signing on the bench: in two places, what was seen and nothing else, and taken back with a reason."""

import re

import pytest

from evenhand.bench import judging
from evenhand.bench._judging_text import read_verdict
from evenhand.bench.models import Judged
from evenhand.output.judgement_file import to_block
from evenhand.records.models import Batch, Cup, Person, Verdict, Withdrawal
from evenhand.records.sheets import take_sheet


@pytest.fixture
def batch(shop):
    judging.judge_now()
    return Batch.objects.get(label="H-01")


def advised(batch):
    return Judged.objects.get(pk=batch.pk).decision


def other(batch):
    return "hold" if advised(batch) != "hold" else "release"


def open_page(client, batch, decision):
    text = client.get(f"/verdicts/{batch.pk}/sign/", {"decision": decision}).content.decode()
    return dict(re.findall(r'name="(decision|mark)" value="([^"]*)"', text))


def arrive(pen, taster="Bo"):
    cup = Cup.objects.get(code="T01-417")
    take_sheet(
        pen, client_id=taster, cup=cup, taster=Person.objects.get(name=taster), scores={"acidity": 9.5}, faults={}
    )


def test_choosing_signs_nothing_and_the_second_place_names_the_signer(client_as, batch):
    client = client_as("Una")
    client.get(f"/verdicts/{batch.pk}/")
    text = client.get(f"/verdicts/{batch.pk}/sign/", {"decision": advised(batch)}).content.decode()
    assert "Sign as Una" in text
    assert not Verdict.objects.exists()


def test_what_is_signed_is_the_judgement_that_was_seen(client_as, batch):
    client = client_as("Wim")
    sent = open_page(client, batch, advised(batch)) | {"note": "clean cups"}
    answer = client.post(f"/verdicts/{batch.pk}/sign/", sent)
    assert (answer.status_code, answer["Location"]) == (302, f"/verdicts/{batch.pk}/")
    signed = Verdict.objects.get()
    row = Judged.objects.get(pk=batch.pk)
    assert signed.judgement == to_block(read_verdict(row.text))
    assert (signed.signed_by.name, signed.decision, signed.note, signed.seen) == (
        "Wim",
        advised(batch),
        "clean cups",
        row.seen,
    )
    text = client.get(f"/verdicts/{batch.pk}/").content.decode()
    assert "Signed:" in text
    assert "Withdraw the verdict" in text
    assert 'name="decision"' not in text


def test_against_the_advice_a_note_is_asked_for(client_as, batch):
    client = client_as("Una")
    sent = open_page(client, batch, other(batch)) | {"note": "  "}
    answer = client.post(f"/verdicts/{batch.pk}/sign/", sent)
    assert answer.status_code == 422
    assert not Verdict.objects.exists()
    answer = client.post(f"/verdicts/{batch.pk}/sign/", sent | {"note": "smelled smoke at the drop"})
    assert answer.status_code == 302
    assert Verdict.objects.get().advised == advised(batch)


def test_sheets_that_arrived_since_are_told_in_the_words_of_the_records(client_as, batch, pen):
    client = client_as("Una")
    sent = open_page(client, batch, advised(batch)) | {"note": ""}
    arrive(pen)
    answer = client.post(f"/verdicts/{batch.pk}/sign/", sent | {"note": "kept"})
    assert answer.status_code == 422
    text = answer.content.decode()
    assert "one sheet has arrived; judge it again before signing" in text
    assert "kept" in text  # what was typed is still there
    assert not Verdict.objects.exists()


def test_a_judgement_that_changed_under_the_page_is_not_signed_unread(client_as, batch, pen):
    client = client_as("Una")
    decision = advised(batch)
    sent = open_page(client, batch, decision) | {"note": "as advised"}
    arrive(pen)
    judging.judge_now()
    answer = client.post(f"/verdicts/{batch.pk}/sign/", sent)
    assert answer.status_code == 422
    assert "has changed since this page was opened" in answer.content.decode()
    assert not Verdict.objects.exists()
    mark = re.search(r'name="mark" value="([^"]*)"', answer.content.decode())[1]
    assert mark != sent["mark"]
    assert client.post(f"/verdicts/{batch.pk}/sign/", sent | {"mark": mark}).status_code == 302


def test_a_second_signature_is_refused_until_the_first_is_withdrawn(client_as, batch):
    client = client_as("Una")
    sent = open_page(client, batch, advised(batch)) | {"note": "one"}
    client.post(f"/verdicts/{batch.pk}/sign/", sent)
    answer = client.post(f"/verdicts/{batch.pk}/sign/", sent | {"note": "two"})
    assert answer.status_code == 422
    assert "withdraw it before signing another" in answer.content.decode()
    shown = {"verdict": verdict_shown(client.get(f"/verdicts/{batch.pk}/withdraw/"))}
    answer = client.post(f"/verdicts/{batch.pk}/withdraw/", shown | {"reason": ""})
    assert answer.status_code == 422
    answer = client.post(f"/verdicts/{batch.pk}/withdraw/", shown | {"reason": "wrong bag"})
    assert answer.status_code == 302
    assert Withdrawal.objects.get().reason == "wrong bag"
    assert client.post(f"/verdicts/{batch.pk}/sign/", sent | {"note": "two"}).status_code == 302
    text = client.get(f"/verdicts/{batch.pk}/").content.decode()
    assert "wrong bag" in text
    assert Verdict.objects.count() == 2


def test_an_old_page_withdraws_no_verdict_that_it_did_not_show(client_as, batch):
    client, address = client_as("Una"), f"/verdicts/{batch.pk}/withdraw/"
    client.post(f"/verdicts/{batch.pk}/sign/", open_page(client, batch, advised(batch)) | {"note": "one"})
    old = {"verdict": verdict_shown(client.get(address)), "reason": "wrong bag"}
    assert client.post(address, old).status_code == 302
    client.post(f"/verdicts/{batch.pk}/sign/", open_page(client, batch, advised(batch)) | {"note": "two"})
    for sent in (old, {"reason": "wrong bag"}):
        answer = client.post(address, sent)
        assert answer.status_code == 422
        assert "Another verdict stands now" in answer.content.decode()
        assert "wrong bag" in answer.content.decode()
        assert Withdrawal.objects.count() == 1
    assert client.post(address, old | {"verdict": verdict_shown(answer)}).status_code == 302
    assert Withdrawal.objects.count() == 2


def verdict_shown(answer):
    return re.search(r'name="verdict" value="([^"]*)"', answer.content.decode())[1]


def test_an_unknown_decision_leads_back(client_as, batch):
    client = client_as("Una")
    assert client.get(f"/verdicts/{batch.pk}/sign/?decision=burn").status_code == 302
    assert client.post(f"/verdicts/{batch.pk}/sign/", {"decision": "burn", "mark": "x"}).status_code == 302
    assert client.get(f"/verdicts/{batch.pk}/withdraw/").status_code == 302
    assert client.get("/verdicts/987654/").status_code == 404


def test_what_was_tasted_after_taste_again_waits_to_be_signed_anew(client_as, batch, pen):
    client = client_as("Una")
    sent = open_page(client, batch, "taste_again") | {"note": "one cup is little"}
    client.post(f"/verdicts/{batch.pk}/sign/", sent)
    assert "<b>H-01</b>" not in client.get("/verdicts/").content.decode()
    arrive(pen)
    assert "<b>H-01</b>" in client.get("/verdicts/").content.decode()
    text = client.get(f"/verdicts/{batch.pk}/part/").content.decode()
    assert "1 sheet came after it was signed." in text
