"""A person's own page: units, theme, devices."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from people.models import DeviceToken
from people.services import device_token_issue, device_token_revoke
from web.access import EVERYONE, FIRM, PersonRequest, page_for
from web.forms.account import DeviceForm, ScreenForm
from web.themes import keep_theme, theme_of


def _account_page(
    request: PersonRequest,
    *,
    screen: ScreenForm | None = None,
    device: DeviceForm | None = None,
    token: str = "",
) -> HttpResponse:
    live = DeviceToken.objects.filter(
        user=request.user, revoked_at__isnull=True, expires_at__gt=timezone.now()
    ).order_by("-created_at")
    return render(
        request,
        "account/account.html",
        {
            "screen": screen or ScreenForm(instance=request.user, initial={"theme": theme_of(request)}),
            "device": device or DeviceForm(prefix="device"),
            "devices": live,
            "token": token,
        },
    )


@page_for(EVERYONE)
@require_http_methods(["GET", "POST"])
def account(request: PersonRequest) -> HttpResponse:
    """Units and theme."""
    if request.method == "GET":
        return _account_page(request)
    screen = ScreenForm(request.POST, instance=request.user)
    if not screen.is_valid():
        return _account_page(request, screen=screen)
    screen.save()
    messages.success(request, _("Kept."))
    response = redirect("web:account")
    keep_theme(response, screen.cleaned_data["theme"], secure=request.is_secure())
    return response


@page_for(FIRM)
@require_POST
def device_issue(request: PersonRequest) -> HttpResponse:
    """A token for a device, shown on this one answer and never again."""
    form = DeviceForm(request.POST, prefix="device")
    if not form.is_valid():
        return _account_page(request, device=form)
    _row, text = device_token_issue(user=request.user, name=form.cleaned_data["name"])
    return _account_page(request, token=text)


@page_for(FIRM)
@require_POST
def device_end(request: PersonRequest, pk: int) -> HttpResponse:
    """End one of one's own tokens."""
    token = get_object_or_404(DeviceToken, pk=pk, user=request.user)
    device_token_revoke(by=request.user, token=token)
    messages.success(request, _("%(name)s can no longer sign in.") % {"name": token.name})
    return redirect("web:account")
