"""Inviting a person."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.models import Site
from people.invitations import can_invite
from people.models import Role, User


class InvitationForm(forms.Form):
    """Who, as what, and for a contact which sites."""

    first_name = forms.CharField(label=gettext_lazy("First name"), max_length=150)
    last_name = forms.CharField(label=gettext_lazy("Last name"), max_length=150)
    email = forms.EmailField(
        label=gettext_lazy("E-mail"),
        max_length=150,
        help_text=gettext_lazy("They sign in with it, and the invitation goes there."),
    )
    site_text = forms.CharField(
        label=gettext_lazy("Sites of a contact"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text=gettext_lazy("One a line, as «customer / site». Left out for anyone else."),
        max_length=4000,
    )

    def __init__(self, *args: Any, by: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        may_invite = [choice for choice in Role.choices if can_invite(by, choice[0])]
        self.fields["role"] = forms.ChoiceField(label=gettext_lazy("Role"), choices=may_invite)
        self.order_fields(["first_name", "last_name", "email", "role"])

    def clean(self) -> dict[str, Any]:
        """A contact needs a site that is on file."""
        cleaned = super().clean() or self.cleaned_data
        cleaned["sites"] = _sites_named(self, cleaned.get("site_text", ""))
        if cleaned.get("role") == Role.CONTACT:
            _refuse_no_site(self, cleaned["sites"])
        return cleaned


class ContactSitesForm(forms.Form):
    """The sites that a contact reads."""

    site_text = forms.CharField(
        label=gettext_lazy("Sites"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 6}),
        help_text=gettext_lazy(
            "One a line, as «customer / site». Whatever is not named here they read no longer."
        ),
        max_length=40_000,
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=20_000)

    def clean_seen(self) -> list[int]:
        """Ids as the page showed them."""
        parts = self.cleaned_data["seen"].split(",")
        return [int(part) for part in parts if part.isascii() and part.isdigit()]

    def clean(self) -> dict[str, Any]:
        """Each line names a site that is on file, and there is at least one."""
        cleaned = super().clean() or self.cleaned_data
        cleaned["sites"] = _sites_named(self, cleaned.get("site_text", ""))
        _refuse_no_site(self, cleaned["sites"])
        return cleaned


def _sites_named(form: forms.Form, text: str) -> list[Site]:
    found = []
    for line in filter(None, (line.strip() for line in text.splitlines())):
        site = _site_named(line)
        if site is None:
            form.add_error("site_text", _("No site is on file as «%(line)s».") % {"line": line})
        else:
            found.append(site)
    return found


def _site_named(line: str) -> Site | None:
    """The site of a line; names may hold a slash themselves, so each is tried as the one between them."""
    parts = line.split("/")
    for place in range(1, len(parts)):
        customer, name = "/".join(parts[:place]).strip(), "/".join(parts[place:]).strip()
        site: Site | None = Site.objects.filter(customer__name__iexact=customer, name__iexact=name).first()
        if site is not None:
            return site
    return None


def _refuse_no_site(form: forms.Form, sites: list[Site]) -> None:
    if not sites and "site_text" not in form.errors:
        form.add_error("site_text", _("A contact reads at least one site."))
