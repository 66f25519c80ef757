"""Logging in and out, and one's own page."""

from django.contrib import messages
from django.contrib.auth import authenticate, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.hashers import check_password
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect, QueryDict
from django.shortcuts import redirect, render, resolve_url
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext as _
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from evenhand.bench.forms import BenchForm
from evenhand.bench.models import Account
from evenhand.bench.people.accounts import find_device, set_pin
from evenhand.bench.people.forms import OwnSecretsForm, PinForm, SignInForm, UnitsForm
from evenhand.bench.people.roles import account_of
from evenhand.bench.people.sessions import end_sessions, enter, is_by_pin
from evenhand.bench.people.throttle import address_of, clear_tries, reserve_try, say_wait

SEE_OTHER = 303


@login_not_required
def sign_in(request: HttpRequest) -> HttpResponse:
    """Offer the names on the shop's own devices, and lead to name and password elsewhere."""
    if request.user.is_authenticated:
        return HttpResponseRedirect(_next(request) or home_of(account_of(request)))
    if "HX-Request" in request.headers:  # a part of a page that was led here: a form has no place in its middle
        return HttpResponse(status=401)
    if find_device(request) is None:
        return _lead("people:password", request)
    accounts = Account.objects.select_related("person").filter(person__is_active=True).order_by("person__name")
    return render(request, "bench/people/names.html", {"accounts": accounts, **_queries(request)})


@sensitive_post_parameters("password")
@login_not_required
def password(request: HttpRequest) -> HttpResponse:
    """Let somebody in by name and password."""
    form = SignInForm(request.POST or None, initial={"name": request.GET.get("name", "")})
    if request.method == "POST" and form.is_valid():
        name, secret = form.cleaned_data["name"], form.cleaned_data["password"]
        account = _try(request, form, name, password=secret)
        if account is not None:
            enter(request, account)
            return _welcome(request, account)
    told = {"form": form, **_queries(request), "is_shop_device": find_device(request) is not None}
    return render(request, "bench/people/password.html", told, status=_status(form))


@sensitive_post_parameters("pin")
@login_not_required
def pin(request: HttpRequest, pk: int) -> HttpResponse:
    """Let somebody in by PIN, on one of the shop's devices, after their name was chosen."""
    device = find_device(request)
    if device is None:
        return _lead("people:password", request)
    account = Account.objects.select_related("person").filter(pk=pk, person__is_active=True).first()
    if account is None:
        raise Http404
    form = PinForm(request.POST or None)
    form.fields["pin"].widget.attrs["autofocus"] = True
    if request.method == "POST" and form.is_valid():
        found = _try(request, form, account.person.name, pin=form.cleaned_data["pin"])
        if found is not None:
            enter(request, found, device)
            return _welcome(request, found)
    told = {"form": form, **_queries(request), "person": account.person, "has_pin": bool(account.pin)}
    return render(request, "bench/people/pin.html", told, status=_status(form))


@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """Let somebody out; on the shop's devices the list of names is next, so this is how people take turns."""
    logout(request)
    return redirect("people:sign-in")


def me(request: HttpRequest) -> HttpResponse:
    """Show one's own page."""
    return _show_me(request)


@require_POST
def units(request: HttpRequest) -> HttpResponse:
    """Change the units on one's own screens."""
    form = UnitsForm(request.POST)
    if not form.is_valid():
        return _show_me(request, units_form=form)
    account = account_of(request)
    account.units = form.cleaned_data["units"]
    account.save(update_fields=["units"])
    messages.success(request, _("Kept: your screens now use these units."))
    return redirect_to("people:me")


@sensitive_post_parameters("present", "password", "again", "pin")
@require_POST
def secrets(request: HttpRequest) -> HttpResponse:
    """Change one's own password or PIN; log-ins elsewhere end."""
    account = account_of(request)
    by_pin = is_by_pin(request)
    form = OwnSecretsForm(account, request.POST, by_pin=by_pin)
    if not form.is_valid():
        return _show_me(request, secrets_form=form)
    present, told = form.cleaned_data["present"], form.cleaned_data
    wait_s, number = reserve_try(account.person.name, address_of(request), timezone.now())
    if wait_s:
        form.add_error(None, say_wait(wait_s))
        return _show_me(request, secrets_form=form)
    if not _is_proof(account, present, by_pin=by_pin and not (told["password"] and account.has_usable_password())):
        form.add_error("present", _("This is not it; nothing was changed."))
        return _show_me(request, secrets_form=form)
    clear_tries(account.person.name, number)
    if told["password"]:
        account.set_password(told["password"])
    if told["pin"]:
        set_pin(account, told["pin"])
    account.save()
    update_session_auth_hash(request, account)
    end_sessions(account, but=request.session.session_key)
    messages.success(request, _("Kept. Wherever else you were logged in, you are asked again."))
    return redirect_to("people:me")


def home_of(account: Account) -> str:
    """Return the address of the page that a person begins with."""
    return reverse("today:today" if account.may("lead") else "taste:choose")


def redirect_to(name: str, *args: object) -> HttpResponseRedirect:
    """Answer a form that was kept: the browser asks for a page anew, so that reloading sends nothing twice."""
    answer = HttpResponseRedirect(resolve_url(name, *args))
    answer.status_code = SEE_OTHER
    return answer


def _is_proof(account: Account, present: str, *, by_pin: bool) -> bool:
    """Say whether a secret is the account's; a PIN proves nothing for a new password where there is an old one."""
    if by_pin and account.pin and check_password(present, account.pin):
        return True
    return account.check_password(present)


def _try(request: HttpRequest, form: BenchForm, name: str, **secret: str) -> Account | None:
    """Return the account that a name and a secret open; None and a sentence in the form if they open none."""
    wait_s, number = reserve_try(name, address_of(request), timezone.now())
    if wait_s:
        form.add_error(None, say_wait(wait_s))
        return None
    account = authenticate(request, name=name, **secret)
    if not isinstance(account, Account):
        by_pin = "pin" in secret
        form.add_error(
            None,
            _("This PIN does not open this name. Try again, or log in with the password.")
            if by_pin
            else _("This name and this password do not belong together. Capitals count in the password."),
        )
        return None
    clear_tries(name, number)
    return account


def _welcome(request: HttpRequest, account: Account) -> HttpResponse:
    answer = HttpResponseRedirect(_next(request) or home_of(account))
    answer.status_code = SEE_OTHER
    return answer


def _next(request: HttpRequest) -> str:
    """Return where somebody wanted to go, if it is a page of this bench."""
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    fits = url_has_allowed_host_and_scheme(wanted, {request.get_host()}, require_https=request.is_secure())
    return wanted if fits and not wanted.startswith(reverse("people:sign-in")) else ""


def _query(request: HttpRequest) -> str:
    """Return the part of an address that carries where somebody wanted to go, or nothing."""
    wanted = QueryDict(mutable=True)
    if place := _next(request):
        wanted["next"] = place
    return f"?{wanted.urlencode()}" if wanted else ""


def _queries(request: HttpRequest) -> dict[str, str]:
    """Return that part as a whole query, and as the end of one."""
    query = _query(request)
    return {"query": query, "more": query.replace("?", "&", 1)}


def _lead(name: str, request: HttpRequest) -> HttpResponseRedirect:
    return HttpResponseRedirect(reverse(name) + _query(request))


def _status(form: BenchForm) -> int:
    return 422 if form.errors else 200


def _show_me(
    request: HttpRequest, *, units_form: UnitsForm | None = None, secrets_form: OwnSecretsForm | None = None
) -> HttpResponse:
    account = account_of(request)
    is_wrong = bool((units_form and units_form.errors) or (secrets_form and secrets_form.errors))
    told = {
        "units_form": units_form or UnitsForm(initial={"units": account.units}),
        "secrets_form": secrets_form or OwnSecretsForm(account, by_pin=is_by_pin(request)),
        "role": account.person.get_role_display() or _("taster"),
        "by_pin": is_by_pin(request),
    }
    return render(request, "bench/people/me.html", told, status=422 if is_wrong else 200)
