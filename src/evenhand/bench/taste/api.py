"""What a phone asks for by script: hand in a sheet, and see where one's own cups stand; JSON in, JSON out.

No answer holds a batch, a coffee or a lot. One without a log-in gets 401 and a sentence, since a redirect to a page
tells a script nothing.
"""

import json
from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, JsonResponse
from django.http.request import RawPostDataException
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from evenhand.bench.people.roles import account_of, pen_of
from evenhand.bench.taste.reading import cup_as_json, find_seat, read_cups
from evenhand.bench.taste.taking import RefusedError, read_sent, take
from evenhand.bench.telling import told


def _answers_scripts(view: Callable[..., JsonResponse]) -> Callable[..., JsonResponse]:
    """Answer 401 where nobody is logged in, and a refusal with its status and sentence."""

    @login_not_required
    @wraps(view)
    def guarded(request: HttpRequest, table_pk: int) -> JsonResponse:
        if not request.user.is_authenticated:
            return JsonResponse({"sentence": _("The log-in has ended; log in again."), "code": "log-in"}, status=401)
        try:
            return view(request, table_pk)
        except RefusedError as error:
            found: dict[str, Any] = {"sentence": told(error), "again": error.again}
            if error.standing is not None:
                found["standing"] = error.standing
            if error.status == 403:
                found["code"] = "other-person"
            return JsonResponse(found, status=error.status)

    return guarded


@require_POST
@_answers_scripts
def sheets(request: HttpRequest, table_pk: int) -> JsonResponse:
    """Take a sheet: 201 when it was stored now, 200 when it was stored before; otherwise a sentence says why not."""
    try:
        body = json.loads(request.body)
    except (ValueError, RecursionError, RequestDataTooBig, RawPostDataException) as error:
        raise RefusedError(_("A sheet is sent as one JSON object."), 422) from error
    answer = take(pen_of(request), table_pk, account_of(request).person, read_sent(body))
    found = {"client_id": answer.taken.sheet.client_id, "is_late": answer.is_late}
    return JsonResponse(found, status=201 if answer.taken.is_new else 200)


@require_GET
@_answers_scripts
def cups(request: HttpRequest, table_pk: int) -> JsonResponse:
    """Tell the own cups of whoever is logged in, in their own order, with their own sheets alone."""
    person = account_of(request).person
    seat = find_seat(table_pk, person)
    if seat is None:
        raise RefusedError(_("%(name)s does not sit at this table.") % {"name": person.name}, 404)
    return JsonResponse(
        {
            "table": seat.plan.table.name,
            "state": seat.plan.table.state,
            "now": timezone.now().isoformat(),
            "taster": {"pk": person.pk, "name": person.name},
            "cups": [cup_as_json(cup) for cup in read_cups(seat)],
        }
    )
