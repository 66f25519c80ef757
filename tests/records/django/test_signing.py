"""A verdict is signed by a person who saw all the sheets; it can be withdrawn, and stays."""

import pytest

from evenhand.records._refusals import RecordError
from evenhand.records.audit import head
from evenhand.records.coffees import revise_coffee, revise_costs
from evenhand.records.models import Batch, Cup, Entry, Person, Verdict, Withdrawal
from evenhand.records.sheets import take_sheet
from evenhand.records.signing import sheets_since, sign, standing_verdict, withdraw

pytestmark = pytest.mark.django_db


@pytest.fixture
def batch(shop):
    return Batch.objects.get(label="H-01")


@pytest.fixture
def una(shop):
    return Person.objects.get(name="Una")


def test_a_verdict_keeps_what_it_rests_on(batch, una, pen, judgement):
    seen = head()[0]
    verdict = sign(pen, batch, decision="release", judgement=judgement, seen=seen, signer=una)
    stored = Verdict.objects.get()
    assert stored == verdict == standing_verdict(batch)
    assert stored.judgement == judgement
    assert (stored.signed_by, stored.signed_at, stored.seen) == (una, pen.at, seen)
    assert (stored.decision, stored.advised) == ("release", "release")
    assert (stored.version, stored.costs.number) == (batch.version, 1)
    assert Entry.objects.latest("seq").title == "release H-01"


def test_later_targets_and_costs_do_not_touch_a_signed_verdict(batch, una, pen, judgement):
    sign(pen, batch, decision="release", judgement=judgement, seen=head()[0], signer=una)
    revise_coffee(pen, "Hollow Lantern", targets={("black", "sweetness"): (7, 0.5)})
    revise_costs(pen, wrong_release=900)
    stored = Verdict.objects.get()
    assert stored.version.number == 1
    assert stored.version.targets.get(service="black").target == 6
    assert stored.costs.wrong_release == 400


def test_withdrawing_keeps_the_verdict_and_makes_room_for_another(batch, una, pen, pen_of, judgement):
    first = sign(pen, batch, decision="release", judgement=judgement, seen=head()[0], signer=una)
    withdraw(pen_of("Una", 10), first, reason="Found a scorched bean.", by=una)
    assert standing_verdict(batch) is None
    second = sign(pen, batch, decision="hold", judgement=judgement, seen=head()[0], signer=una, note="Scorched.")
    assert list(Verdict.objects.order_by("pk")) == [first, second]
    assert Withdrawal.objects.get().verdict == first
    assert standing_verdict(batch) == second


def test_nobody_signs_past_a_sheet_that_they_have_not_seen(batch, una, pen, judgement):
    seen = head()[0]
    wim = Person.objects.get(name="Wim")
    take_sheet(pen, client_id="late", cup=Cup.objects.get(code="202"), taster=wim, scores={}, faults={"smoky": True})
    take_sheet(pen, client_id="other", cup=Cup.objects.get(code="303"), taster=una, scores={"sweetness": 5}, faults={})
    assert sheets_since(batch, seen) == 1, "cup 303 is of another batch"
    with pytest.raises(RecordError, match="Since batch H-01 was judged, one sheet has arrived"):
        sign(pen, batch, decision="release", judgement=judgement, seen=seen, signer=una)
    sign(pen, batch, decision="release", judgement=judgement, seen=head()[0], signer=una)


@pytest.mark.parametrize(
    ("how", "sentence"),
    [
        ({"decision": "hold"}, "say in a note why"),
        ({"decision": "burn", "note": "x"}, 'decision: "burn" is not allowed'),
        ({"judgement": {"batch": "H-02", "decision": "release"}}, "not of batch H-01"),
        ({"who": "Wim"}, "Only Una can sign as Una"),
        ({"note": "a\x00b"}, "control character"),
    ],
)
def test_what_is_not_signed(batch, una, pen_of, judgement, told_with, how, sentence):
    words = {"decision": "release", "judgement": judgement, "seen": head()[0], "signer": una} | how
    before = head()
    with pytest.raises(RecordError, match=sentence) as refused:
        sign(pen_of(words.pop("who", "Una")), batch, **words)
    told_with(refused.value.args[0], "H-01 Una Wim burn release taste_again hold")
    assert head() == before
    assert not Verdict.objects.exists()


def test_a_second_verdict_waits_for_the_withdrawal_of_the_first(batch, una, pen, judgement):
    sign(pen, batch, decision="release", judgement=judgement, seen=head()[0], signer=una)
    with pytest.raises(RecordError, match="signed already; withdraw it"):
        sign(pen, batch, decision="release", judgement=judgement, seen=head()[0], signer=una)


def test_a_withdrawal_is_made_once_with_a_reason_in_ones_own_name(batch, una, pen, pen_of, judgement):
    verdict = sign(pen, batch, decision="release", judgement=judgement, seen=head()[0], signer=una)
    with pytest.raises(RecordError, match="Say why"):
        withdraw(pen, verdict, reason=" ", by=una)
    with pytest.raises(RecordError, match="Only Una can withdraw"):
        withdraw(pen_of("Wim"), verdict, reason="No.", by=una)
    withdraw(pen, verdict, reason="Yes.", by=una)
    with pytest.raises(RecordError, match="withdrawn already"):
        withdraw(pen, verdict, reason="Again.", by=una)
