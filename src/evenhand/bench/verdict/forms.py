"""Forms of this room: the note under a signature, and the reason of a withdrawal."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from evenhand.bench.forms import BenchForm

DECISIONS = (("release", _("Release")), ("taste_again", _("Taste again")), ("hold", _("Hold")))


class SignForm(BenchForm):
    """What is signed besides the judgement; a note is asked for where the decision is not the advised one."""

    decision = forms.ChoiceField(choices=DECISIONS, widget=forms.HiddenInput)
    mark = forms.CharField(widget=forms.HiddenInput)
    note = forms.CharField(label=_("Note"), required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3}))

    def __init__(self, *args: Any, against: bool = False, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if against:
            self.fields["note"].required = True
            self.fields["note"].help_text = _("Your decision is not the advised one: say why.")


class WithdrawForm(BenchForm):
    """Why a verdict is taken back, and which one stood on the page."""

    verdict = forms.CharField(required=False, max_length=20, widget=forms.HiddenInput)
    reason = forms.CharField(label=_("Reason"), max_length=2000, widget=forms.Textarea(attrs={"rows": 3}))

    def is_overtaken(self, standing: int) -> bool:
        """Say whether another verdict stands than the one that was shown; a second press is then about that one."""
        if self.cleaned_data["verdict"] == str(standing):
            return False
        said = _(
            "Another verdict stands now than the one that you saw; it is shown above. Read it before you withdraw it."
        )
        self.add_error(None, said)
        self.renew("verdict", str(standing))
        return True
