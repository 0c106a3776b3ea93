"""Accounts: who may sign in, and inviting more."""

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db import transaction
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from common.problems import Problem
from fleet.contacts import contact_sites_set
from fleet.models import Site
from people.invitations import LinkMaker, can_invite, invitation_repeat, person_end, person_invite
from people.models import Role, User
from web.access import OFFICE, PersonRequest, page_for
from web.forms.accounts import ContactSitesForm, InvitationForm
from web.paging import ROWS, page_by_id
from web.problems import add_to_form, renew_hidden


@page_for(OFFICE)
@require_safe
def accounts(request: PersonRequest) -> HttpResponse:
    """People who may sign in, newest first; by role where asked."""
    role = request.GET.get("role", "")
    rows = User.objects.filter(is_active=True).prefetch_related("contact_sites__site")
    if role in Role.values:
        rows = rows.filter(role=role)
    page = page_by_id(rows, request.GET.get("after", ""), size=ROWS)
    context = {
        "people": [
            (person, person != request.user and can_invite(request.user, person.role)) for person in page.rows
        ],
        "page": page,
        "roles": Role.choices,
        "role": role,
    }
    return render(request, "office/accounts.html", context)


@page_for(OFFICE)
@require_http_methods(["GET", "POST"])
def invite(request: PersonRequest) -> HttpResponse:
    """Invite a person by e-mail."""
    form = InvitationForm(request.POST or None, by=request.user)
    if request.method == "POST" and form.is_valid():
        try:
            person = _invited(request, form)
        except Problem as problem:
            add_to_form(form, problem)
        else:
            messages.success(request, _("Invited: %(email)s.") % {"email": person.email})
            return redirect("web:accounts")
    return render(request, "office/invite.html", {"form": form})


@page_for(OFFICE)
@require_POST
def end(request: PersonRequest, pk: int) -> HttpResponse:
    """Let somebody in no longer."""
    person = get_object_or_404(User, pk=pk, is_active=True)
    if person == request.user:
        raise PermissionDenied("Nobody ends their own account.")
    person_end(by=request.user, person=person)
    messages.success(request, _("%(person)s can no longer sign in.") % {"person": person})
    return redirect("web:accounts")


@page_for(OFFICE)
@require_http_methods(["GET", "POST"])
def account_sites(request: PersonRequest, pk: int) -> HttpResponse:
    """The sites that a contact reads, to change."""
    contact = get_object_or_404(User, pk=pk, is_active=True, role=Role.CONTACT)
    sites = Site.objects.filter(contacts__user=contact).select_related("customer").order_by("pk")
    held = list(sites)
    seen = ",".join(str(site.pk) for site in held)
    names = "\n".join(f"{site.customer} / {site}" for site in held)
    form = ContactSitesForm(request.POST or None, initial={"site_text": names, "seen": seen})
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            contact_sites_set(by=request.user, contact=contact, sites=given["sites"], seen=given["seen"])
        except Problem as problem:
            add_to_form(form, problem)
            # Told of what they read now, the editor may save over it.
            renew_hidden(form, "seen", seen)
        else:
            messages.success(request, _("%(person)s reads these sites.") % {"person": contact})
            return redirect("web:accounts")
    return render(request, "office/account-sites.html", {"form": form, "person": contact})


@page_for(OFFICE)
@require_POST
def invite_again(request: PersonRequest, pk: int) -> HttpResponse:
    """Send the invitation again."""
    person = get_object_or_404(User, pk=pk, is_active=True)
    try:
        invitation_repeat(
            by=request.user, person=person, link=_link_of(request), **_letter(person.first_name)
        )
    except Problem as problem:
        messages.error(request, problem.detail)
    else:
        messages.success(request, _("Invited again: %(email)s.") % {"email": person.email})
    return redirect("web:accounts")


@transaction.atomic
def _invited(request: PersonRequest, form: InvitationForm) -> User:
    given = form.cleaned_data
    person = person_invite(
        by=request.user,
        email=given["email"],
        first_name=given["first_name"],
        last_name=given["last_name"],
        role=given["role"],
        link=_link_of(request),
        **_letter(given["first_name"]),
    )
    contact_sites_set(by=request.user, contact=person, sites=given["sites"])
    return person


def _letter(first_name: str) -> dict[str, str]:
    text = render_to_string("office/invitation.txt", {"name": first_name})
    return {"subject": _("Your account with Flueledger"), "text": text}


def _link_of(request: PersonRequest) -> LinkMaker:
    def link(encoded: str, token: str) -> str:
        return request.build_absolute_uri(reverse("web:new-password", args=[encoded, token]))

    return link
