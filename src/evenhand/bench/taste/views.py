"""The pages of this room: the open tables of whoever is logged in, and one table, cup by cup."""

import secrets

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from evenhand.bench.models import Seat
from evenhand.bench.people.roles import account_of, pen_of
from evenhand.bench.taste.forms import SheetForm, lay_out
from evenhand.bench.taste.reading import CupToTaste, cup_as_json, find_seat, open_tables, read_cups, read_questions
from evenhand.bench.taste.taking import RefusedError, Sent, take
from evenhand.bench.taste.words import SIGNS, script_words, state_words


@require_GET
def choose(request: HttpRequest) -> HttpResponse:
    """Show the open tables at which this person sits, and what waits on this phone."""
    person = account_of(request).person
    return render(
        request, "bench/taste/choose.html", {"tables": open_tables(person), "taster": person, "words": script_words()}
    )


@require_GET
def tables(request: HttpRequest) -> HttpResponse:
    """Give the list of open tables alone, for a page that is open."""
    return render(request, "bench/taste/tables.html", {"tables": open_tables(account_of(request).person)})


@require_http_methods(["GET", "HEAD", "POST"])
def table(request: HttpRequest, table_pk: int) -> HttpResponse:
    """Show one table cup by cup; without scripts, take the form of one cup."""
    person = account_of(request).person
    seat = find_seat(table_pk, person)
    if seat is None:
        said = _("You do not sit at this table, or it was taken away. Ask the lead for a seat.")
        message = {"heading": _("Not your table"), "text": said}
        return render(request, "bench/message.html", message, status=404)
    cups = read_cups(seat)
    if request.method == "POST":
        return _take_plain(request, seat, cups)
    if seat.plan.table.state == "open":
        return _show(request, seat, cups)
    return render(request, "bench/taste/shut.html", _shared(seat) | {"cups": [_with_state(cup) for cup in cups]})


def _take_plain(request: HttpRequest, seat: Seat, cups: list[CupToTaste]) -> HttpResponse:
    """Take the form of one cup and lead to the next, or show it again with what is wrong."""
    table_pk, code = seat.plan.table_id, request.GET.get("cup", "")
    cup = next((cup for cup in cups if cup.code == code), None)
    if cup is None:
        return redirect("taste:table", table_pk=table_pk)
    form = SheetForm(cup, read_questions(seat.plan.table), request.POST)
    if form.is_valid():
        pen = pen_of(request)
        sent = Sent(
            client_id=form.cleaned_data["client_id"],
            taster=seat.taster_id,
            code=cup.code,
            scores=form.scores(),
            faults=form.faults(),
            words=form.cleaned_data["words"],
            tasted_at=pen.at,
            supersedes=form.cleaned_data["supersedes"] or None,
        )
        try:
            take(pen, table_pk, seat.taster, sent)
        except RefusedError as error:
            form.refuse(error)
            if error.standing == sent.client_id:  # somebody went back to the page: what is on it now is another sheet
                form.renew("client_id", secrets.token_hex(16))
        else:
            following = _next_code(read_cups(seat), code)
            address = f"{reverse('taste:table', args=[table_pk])}?cup={following}"
            return HttpResponse(status=303, headers={"Location": address})
    return _show(request, seat, cups, form)


def _show(request: HttpRequest, seat: Seat, cups: list[CupToTaste], sent: SheetForm | None = None) -> HttpResponse:
    asked = request.GET.get("cup", "")
    known = {cup.code for cup in cups} | {"end"}
    shown = asked if asked in known else _next_code(cups, "")
    questions = read_questions(seat.plan.table)
    parts = lay_out(cups, questions, [secrets.token_hex(16) for _cup in cups], sent)
    return render(
        request,
        "bench/taste/table.html",
        _shared(seat)
        | {
            "parts": parts,
            "cups": [_with_state(cup) for cup in cups],
            "shown": shown,
            "left": sum(cup.sheet is None for cup in cups),
            "script_cups": [cup_as_json(cup) for cup in cups],
            "suggested": questions.words,
        },
        status=422 if sent is not None else 200,
    )


def _shared(seat: Seat) -> dict[str, object]:
    return {"table": seat.plan.table, "taster": seat.taster, "words": script_words()}


def _with_state(cup: CupToTaste) -> tuple[CupToTaste, str, str, str]:
    """Return a cup with the name of its state, its sign and its word."""
    state = "done" if cup.sheet else "todo" if cup.is_poured else "unpoured"
    return cup, state, SIGNS[state], state_words()[state]


def _next_code(cups: list[CupToTaste], code: str) -> str:
    """Return the next cup that is poured and has no sheet: after this one, else from the start; else the overview."""
    codes = [cup.code for cup in cups]
    at = codes.index(code) + 1 if code in codes else 0
    return next((cup.code for cup in [*cups[at:], *cups[:at]] if cup.is_poured and cup.sheet is None), "end")
