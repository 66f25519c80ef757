"""Coffee: the pages of coffees and seasons, batches and green lots written down and corrected."""

import pytest

from evenhand.bench import judging
from evenhand.bench.coffee.fields import RoastTimeField
from evenhand.bench.models import Account
from evenhand.records.chain import verify_chain
from evenhand.records.models import Batch, BatchLot, Coffee, Entry, GreenLot, GreenReading, GreenStorage


@pytest.fixture
def lantern(shop):
    return Coffee.objects.get(name="Hollow Lantern")


def batch_form(**values):
    return {"label": "H-03", "roasted_on": "2026-06-01", "green_in_kg": "6,00", "roasted_out_kg": "5.1"} | values


def test_the_list_and_the_season_of_all(client_as, lantern):
    judging.read_season_now()
    client = client_as("Wim")
    text = client.get("/coffees/").content.decode()
    assert "Hollow Lantern" in text
    assert "2 unsigned" in text
    text = client.get("/coffees/season/").content.decode()
    assert "Hollow Lantern" in text
    assert "Grey Ferry" in text


def test_one_coffee_shows_targets_batches_and_lots(client_as, lantern):
    judging.judge_now()
    judging.read_season_now()
    answer = client_as("Wim").get(f"/coffees/{lantern.pk}/")
    text = answer.content.decode()
    for words in ("H-01", "H-02", "Vantry 2", "acidity", "4.0 ± 1.0"):
        assert words in text
    assert "F-01" not in text
    assert b"style=" not in answer.content
    assert b"<style" not in answer.content
    assert client_as("Wim").get(f"/coffees/{lantern.pk}/part/").status_code == 200


def test_a_batch_is_written_down_with_its_lot(client_as, lantern):
    lot = GreenLot.objects.get(name="Vantry 2")
    sent = batch_form(roast_time_s="11:30", colour="62,5", colour_scale="ring", lots=[str(lot.pk)])
    answer = client_as("Wim").post(f"/coffees/{lantern.pk}/batch/", sent)
    assert answer.status_code == 302
    batch = Batch.objects.get(label="H-03")
    assert (batch.green_in_kg, batch.roasted_out_kg, batch.roast_time_s, batch.colour) == (6.0, 5.1, 690.0, 62.5)
    assert batch.version.coffee == lantern
    assert list(batch.lots.values_list("lot__name", flat=True)) == ["Vantry 2"]
    assert Entry.objects.get(kind="batch", record=batch.pk).who == "Wim"
    assert verify_chain().broken is None


def test_what_the_records_refuse_stands_on_the_form_and_nothing_is_lost(client_as, lantern):
    client = client_as("Wim")
    answer = client.post(f"/coffees/{lantern.pk}/batch/", batch_form(roasted_out_kg="7,5"))
    text = answer.content.decode()
    assert answer.status_code == 422
    assert "cannot weigh more than the 6 kg" in text
    assert 'value="7,5"' in text
    answer = client.post(f"/coffees/{lantern.pk}/batch/", batch_form(label="H-01"))
    assert answer.status_code == 422
    assert "stands in the records already" in answer.content.decode()
    assert client.post(f"/coffees/{lantern.pk}/batch/", batch_form(green_in_kg="six")).status_code == 422
    assert not Batch.objects.filter(label="H-03").exists()


def test_us_units_are_typed_and_shown(client_as, lantern):
    Account.objects.filter(person__name="Wim").update(units="us")
    client = client_as("Wim")
    # 10 lb is 4.5359 kg: the international pound is 0.45359237 kg exactly (NIST SP 811, appendix B).
    client.post(f"/coffees/{lantern.pk}/batch/", batch_form(green_in_kg="10", roasted_out_kg="8.5"))
    batch = Batch.objects.get(label="H-03")
    assert batch.green_in_kg == pytest.approx(4.5359, abs=1e-4)
    assert 'value="10"' in client.get(f"/coffees/batches/{batch.pk}/").content.decode()


def test_a_correction_changes_what_was_typed_and_saving_alone_changes_nothing(client_as, lantern):
    client, batch = client_as("Wim"), Batch.objects.get(label="H-01")
    before = Entry.objects.count()
    same = {"label": "H-01", "roasted_on": "2026-05-04", "green_in_kg": "6", "roasted_out_kg": "5.1"}
    assert client.post(f"/coffees/batches/{batch.pk}/", same).status_code == 302
    assert Entry.objects.count() == before
    client.post(f"/coffees/batches/{batch.pk}/", same | {"roast_time_s": "700"})
    batch.refresh_from_db()
    assert batch.roast_time_s == 700.0
    assert Entry.objects.count() == before + 1


def test_a_slip_can_be_taken_back_while_nothing_points_at_it(client_as, lantern):
    client = client_as("Wim")
    lot = GreenLot.objects.get(name="Vantry 2")
    client.post(f"/coffees/{lantern.pk}/batch/", batch_form(lots=[str(lot.pk)]))
    batch = Batch.objects.get(label="H-03")
    judging.judge_now()
    assert "Take this batch away" in client.get(f"/coffees/batches/{batch.pk}/").content.decode()
    client.post(f"/coffees/batches/{batch.pk}/drop/")
    assert not Batch.objects.filter(label="H-03").exists()
    assert not BatchLot.objects.filter(lot=lot, batch=batch.pk).exists()
    pulled = Batch.objects.get(label="H-01")
    assert "Take this batch away" not in client.get(f"/coffees/batches/{pulled.pk}/").content.decode()
    client.post(f"/coffees/batches/{pulled.pk}/drop/")
    assert Batch.objects.filter(pk=pulled.pk).exists()
    assert client.get(f"/coffees/batches/{pulled.pk}/drop/").status_code == 405


def test_a_green_lot_with_its_names_readings_and_storage(client_as, lantern):
    client = client_as("Wim")
    sent = {
        "name": "Ombre 7",
        "origin": "Ombre",
        "producers": "Ines Marrow\nTao Field\n\nInes Marrow",
        "varieties": "grey leaf",
        "harvest": "2025/26",
        "harvested_on": "2025-12-01",
        "arrived_on": "2026-04-02",
        "green_kg": "690",
        "bag_kg": "69",
        "elevation_low_m": "1500",
        "elevation_high_m": "1700",
    }
    assert client.post("/coffees/lots/new/", sent).status_code == 302
    lot = GreenLot.objects.get(name="Ombre 7")
    assert list(lot.producers.order_by("pk").values_list("name", flat=True)) == ["Ines Marrow", "Tao Field"]
    reading = {"read_on": "2026-05-01", "moisture_pct": "10,8", "water_activity": "0,55", "water_activity_c": "25"}
    answer = client.post(f"/coffees/lots/{lot.pk}/reading/", reading)
    assert answer.status_code == 422
    assert "name the method" in answer.content.decode()
    reading["moisture_method"] = "oven, 105 C, 16 h"
    assert client.post(f"/coffees/lots/{lot.pk}/reading/", reading).status_code == 302
    spell = {"stored_from": "2026-04-02", "temperature_c": "18", "packaging": "airtight"}
    assert client.post(f"/coffees/lots/{lot.pk}/storage/", spell).status_code == 302
    assert client.post(f"/coffees/lots/{lot.pk}/", sent | {"producers": "Tao Field"}).status_code == 302
    assert list(lot.producers.values_list("name", flat=True)) == ["Tao Field"]
    text = client.get(f"/coffees/lots/{lot.pk}/").content.decode()
    assert "oven, 105 C, 16 h" in text
    found, stored = GreenReading.objects.get(lot=lot), GreenStorage.objects.get(lot=lot)
    assert client.post(f"/coffees/readings/{found.pk}/", reading | {"moisture_pct": "10.9"}).status_code == 302
    found.refresh_from_db()
    assert found.moisture_pct == 10.9
    client.post(f"/coffees/readings/{found.pk}/drop/")
    client.post(f"/coffees/storage/{stored.pk}/drop/")
    assert not lot.readings.exists()
    assert not lot.storage.exists()
    assert verify_chain().broken is None


@pytest.mark.parametrize("address", ["", "season/", "lots/", "lots/new/", "season.css"])
def test_the_room_is_not_for_tasters(client_as, lantern, address):
    assert client_as("Ida").get(f"/coffees/{address}").status_code == 403


@pytest.mark.parametrize(("typed", "seconds"), [("11:30", 690.0), ("690", 690.0), ("690,5", 690.5), ("", None)])
def test_a_roast_time_is_typed_as_minutes_or_seconds(typed, seconds):
    assert RoastTimeField(required=False).clean(typed) == seconds


def test_a_roast_time_is_shown_as_minutes_and_comes_back_the_same():
    field = RoastTimeField(required=False)
    assert field.prepare_value(690.0) == "11:30"
    assert field.to_python(field.prepare_value(605.0)) == 605.0
