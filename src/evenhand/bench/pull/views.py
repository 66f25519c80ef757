"""What to pull, the page that pulls it, and what is said of the pull while it is typed."""

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse, HttpResponseBase, HttpResponseRedirect
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from evenhand.bench.models import Account, Slot
from evenhand.bench.once import made_before, make_once
from evenhand.bench.people.roles import account_of, needs, pen_of
from evenhand.bench.pull.dialling import kept_pull, next_step, typed_pull
from evenhand.bench.pull.forms import MEASURED, PullForm
from evenhand.bench.pull.pulls import last_pulls, pulls_of_day, tell
from evenhand.bench.pull.reading import Reading, read
from evenhand.bench.pull.recipes import Aim, aim_of
from evenhand.bench.pull.recording import may_fill, record_pull
from evenhand.bench.pull.sight import may_pull_for_tables, seen_batches, sits_at
from evenhand.bench.pull.undone import forget_undone, undone_values
from evenhand.bench.pull.words import rows_of
from evenhand.bench.quantities import units_of
from evenhand.errors import EvenhandError
from evenhand.espresso.extraction import HAND_SD_S
from evenhand.espresso.recipe import JUDGEABLE_TOLERANCES, QUANTITIES
from evenhand.records.models import Batch, Coffee, Pull

_BATCHES_SHOWN = 12
_LAST_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Job:
    """What is to be pulled: a batch, for a slot of a table or freely."""

    batch: Batch
    slot: Slot | None

    @property
    def coffee(self) -> Coffee:
        """The coffee of the batch."""
        return self.batch.version.coffee

    @property
    def key(self) -> str:
        """Names the job in the page's own store, so that a reload finds a running shot again."""
        return f"batch-{self.batch.pk}" if self.slot is None else f"slot-{self.slot.pk}"

    @property
    def reading_url(self) -> str:
        """Where the page asks what to say of what was typed."""
        if self.slot is None:
            return reverse("pull:batch-reading", args=[self.batch.pk])
        return reverse("pull:slot-reading", args=[self.slot.pk])


@require_GET
def choose(request: HttpRequest) -> HttpResponse:
    """Show what to pull now: the slots of tables in their order, then any batch; and what was pulled today."""
    account = account_of(request)
    slots: list[Slot] = []
    if may_pull_for_tables(account):
        waiting = Slot.objects.filter(plan__table__state__in=("open", "planned"), pull__isnull=True)
        # The table that is open is waited for; then the tables in the order in which they were planned.
        slots = list(
            waiting.select_related("plan__table", "batch__version__coffee").order_by(
                "plan__table__state", "plan__planned_at", "plan", "number"
            )
        )
    if "HX-Request" in request.headers:  # a whole page would take away the message that another one waits for
        return render(request, "bench/pull/_slots.html", {"slots": slots})
    sought = request.GET.get("q", "").strip()[:200]
    batches = seen_batches(account).order_by("-roasted_on", "-pk")
    if sought:
        batches = batches.filter(Q(label__icontains=sought) | Q(version__coffee__name__icontains=sought))
    shown = {
        "slots": slots,
        "may_pull_for_tables": may_pull_for_tables(account),
        "batches": batches[:_BATCHES_SHOWN],
        "has_more": batches[_BATCHES_SHOWN : _BATCHES_SHOWN + 1].exists(),
        "sought": sought,
        "told": tell(pulls_of_day(timezone.localdate(), account), account),
    }
    return render(request, "bench/pull/choose.html", shown)


@needs("lead")
@require_http_methods(["GET", "HEAD", "POST"])
def pull_slot(request: HttpRequest, slot: int) -> HttpResponseBase:
    """Pull for a table."""
    found = Slot.objects.filter(pk=slot).select_related("plan__table", "batch__version__coffee").first()
    if found is None and request.method == "POST" and (batch := _batch_sent(request)) is not None:
        return _pull(request, Job(batch, None), is_lost=True)
    if found is None:
        text = _("The table was planned anew, or removed, and this pull is no longer on it. Choose what to pull again.")
        return _say(request, _("This pull is not on a table any more"), text, status=404)
    if request.method == "POST":  # even where another one came first: what was measured of a shot is not thrown away
        return _pull(request, Job(found.batch, found))
    if found.pull_id is not None:
        messages.info(request, _("Pull %(number)s was made already; here it is.") % {"number": found.number})
        return redirect("pull:kept", found.pull_id)
    if found.plan.table.state == "closed":
        text = _("The table is closed, so no cup can come onto it any more. The batch can still be pulled freely.")
        return _say(request, _("This table is closed"), text, status=409)
    return _pull(request, Job(found.batch, found))


@require_http_methods(["GET", "HEAD", "POST"])
def pull_batch(request: HttpRequest, batch: int) -> HttpResponseBase:
    """Pull a batch freely, such as to dial it in."""
    return _pull(request, Job(get_object_or_404(seen_batches(account_of(request)), pk=batch), None))


@needs("lead")
@require_GET
def read_slot(request: HttpRequest, slot: int) -> HttpResponse:
    """Say what the pull for a table is like so far."""
    found = get_object_or_404(Slot.objects.select_related("batch__version__coffee"), pk=slot)
    return _read(request, Job(found.batch, found))


@require_GET
def read_batch(request: HttpRequest, batch: int) -> HttpResponse:
    """Say what a free pull is like so far."""
    return _read(request, Job(get_object_or_404(seen_batches(account_of(request)), pk=batch), None))


@require_GET
def history(request: HttpRequest, coffee: int) -> HttpResponse:
    """Show the last pulls of a coffee with their deviations."""
    account = account_of(request)
    found = get_object_or_404(Coffee, pk=coffee)
    aim = aim_of(found)
    told = tell(last_pulls(found, account), account)
    recipe = rows_of(dict.fromkeys(QUANTITIES), aim.recipe, units_of(account))
    return render(request, "bench/pull/history.html", {"coffee": found, "told": told, "aim": aim, "recipe": recipe})


def _pull(request: HttpRequest, job: Job, *, is_lost: bool = False) -> HttpResponse:
    """Show the form of a pull, or take it; where its slot is lost, ask before it is kept as a record alone."""
    account = account_of(request)
    aim = aim_of(job.coffee)
    last = last_pulls(job.coffee, account)
    setting = next((pull.grind_setting for pull in last if pull.grind_setting), None)
    if request.method != "POST":
        undone = undone_values(request, job.batch)
        form = PullForm(units=units_of(account), last_setting=setting, initial=undone)
        return _show(request, job, aim, form, last, is_undone=bool(undone))
    form = PullForm(request.POST, units=units_of(account), last_setting=setting)
    if pull := made_before(request, Pull):
        return see_other(reverse("pull:kept", args=[pull]))
    then = request.POST.get("then", "")
    is_asked = is_lost and then != "again"
    if not form.is_valid() or is_asked:
        if is_asked:
            form.add_error(None, _("The table was planned anew meanwhile, and this pull is no longer on it."))
            form.add_error(None, _not_on_table())
        return _show(request, job, aim, form, last, is_lost=is_lost, status=422)
    reading = _reading(form, job, aim, account)
    if job.slot is not None and reading.state == "again" and then not in ("again", "all-the-same"):
        return _show(request, job, aim, form, last, doubted=True, status=422)
    onto = None if then == "again" else job.slot
    try:
        pen, values = pen_of(request), form.values()
        number, is_new = make_once(request, Pull, lambda: record_pull(pen, job.batch, values, slot=onto).pk)
    except EvenhandError as error:
        form.refuse(error)
        if onto is not None and not may_fill(onto):
            form.add_error(None, _not_on_table())
        return _show(request, job, aim, form, last, is_lost=is_lost, status=422)
    if not is_new:
        return see_other(reverse("pull:kept", args=[number]))
    forget_undone(request)
    # A message is shown by the next page, whichever it is: one with codes must not get a batch's label with it.
    said = _("Kept in the records.") if job.slot is not None else _("Kept in the records as %(label)s.")
    messages.success(request, said % {"label": Pull.objects.get(pk=number).label})
    if job.slot is not None and onto is None:
        return see_other(f"{reverse('pull:kept', args=[number])}?for={job.slot.pk}")
    return see_other(reverse("pull:kept", args=[number]))


def _show(
    request: HttpRequest,
    job: Job,
    aim: Aim,
    form: PullForm,
    last: list[Pull],
    *,
    doubted: bool = False,
    is_lost: bool = False,
    is_undone: bool = False,
    status: int = 200,
) -> HttpResponse:
    account = account_of(request)
    shown = {
        "job": job,
        "aim": aim,
        "is_newer": aim.is_newer_than(job.batch),
        "form": form,
        "doubted": doubted,
        "is_lost": is_lost,
        "is_undone": is_undone,
        "sits_here": job.slot is not None and sits_at(account, job.slot),
        "told": tell(last[:_LAST_SHOWN], account),
        "hand_sd_s": HAND_SD_S,
        **_said(form, job, aim, last, account),
    }
    return render(request, "bench/pull/pull.html", shown, status=status)


def _read(request: HttpRequest, job: Job) -> HttpResponse:
    account = account_of(request)
    form = PullForm(request.GET, units=units_of(account))
    form.is_valid()  # what does not read as a number yet is left open
    shown = _said(form, job, aim_of(job.coffee), last_pulls(job.coffee, account), account)
    return render(request, "bench/pull/_reading.html", shown)


def _said(form: PullForm, job: Job, aim: Aim, last: list[Pull], account: Account) -> dict[str, Any]:
    """Return what the page says of a pull so far, and of the next one."""
    reading = _reading(form, job, aim, account)
    pulls = [kept_pull(pull) for pull in reversed(last)]
    typed = None
    if form.is_bound:
        setting = form.cleaned_data.get("grind_setting") or ""
        typed = typed_pull(form.known(), setting, batch=job.batch, at=timezone.localtime())
    step = next_step([*pulls, typed] if typed else pulls, aim.recipe)
    return {"reading": reading, "step": step, "is_after": typed is not None, "limit": JUDGEABLE_TOLERANCES}


def _reading(form: PullForm, job: Job, aim: Aim, account: Account) -> Reading:
    known = form.known() if form.is_bound else {name: form.initial.get(name) for name in MEASURED}
    return read(known, aim.recipe, moisture_pct=job.batch.roasted_moisture_pct, units=units_of(account))


def _batch_sent(request: HttpRequest) -> Batch | None:
    """Return the batch that the form of a slot named, for a slot that is gone."""
    number = request.POST.get("batch", "")
    if not number.isascii() or not number.isdigit() or len(number) > 15:
        return None
    return seen_batches(account_of(request)).filter(pk=number).first()


def _not_on_table() -> str:
    return _("This pull is not saved yet. The cup cannot go on the table; keep it as a record.")


def see_other(address: str) -> HttpResponse:
    """Lead on to another page after something was written."""
    return HttpResponseRedirect(address, status=303)


def _say(request: HttpRequest, heading: str, text: str, *, status: int) -> HttpResponse:
    return render(request, "bench/message.html", {"heading": heading, "text": text}, status=status)
