"""Booking attendances, and what is booked."""

from datetime import date, timedelta

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from common.problems import Problem
from fleet.models import Plant
from visits.booking import attendance_book, attendance_cancel, licence_gaps
from visits.models import Attendance
from web.access import OFFICE, PersonRequest, page_for
from web.forms.booking import BookingForm, technicians
from web.paging import ROWS
from web.problems import add_to_form
from web.selectors.bookings import DAYS, booked_days


@page_for(OFFICE)
@require_safe
def bookings(request: PersonRequest) -> HttpResponse:
    """Two weeks of attendances."""
    first = _day(request.GET.get("from", "")) or timezone.localdate()
    chosen = request.GET.get("technician", "")
    technician = int(chosen) if chosen.isdecimal() and len(chosen) < 19 else None
    days, after = booked_days(
        user=request.user,
        first=first,
        technician=technician,
        after=request.GET.get("after", ""),
        size=ROWS,
    )
    context = {
        "days": days,
        "next": after,
        "first": first,
        "last": first + timedelta(days=DAYS - 1),
        "earlier": first - timedelta(days=DAYS),
        "later": first + timedelta(days=DAYS),
        "technicians": technicians(),
        "technician": technician,
    }
    return render(request, "office/bookings.html", context)


@page_for(OFFICE)
@require_http_methods(["GET", "POST"])
def book(request: PersonRequest, plant_pk: int) -> HttpResponse:
    """Book a technician for a plant."""
    plants = Plant.objects.visible_to(request.user).select_related("site__customer")
    plant = get_object_or_404(plants, pk=plant_pk)
    form = BookingForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            attendance = attendance_book(by=request.user, plant=plant, **form.cleaned_data)
        except Problem as problem:
            add_to_form(form, problem)
        else:
            messages.success(request, _booked(attendance))
            return redirect("web:plant", plant.pk)
    context = {"plant": plant, "form": form, "appliances": plant.appliances.filter(retired_on__isnull=True)}
    return render(request, "office/book.html", context)


@page_for(OFFICE)
@require_safe
def licence_check(request: PersonRequest, plant_pk: int) -> HttpResponse:
    """Before anything is booked: whom the chosen technician's licences do not cover that day."""
    plant = get_object_or_404(Plant.objects.visible_to(request.user), pk=plant_pk)
    form = BookingForm(request.GET)
    form.full_clean()
    chosen, on = form.cleaned_data.get("technician"), form.cleaned_data.get("on")
    gaps = None
    if chosen is not None and on is not None:
        commissioning = form.cleaned_data.get("commissioning", False)
        gaps = licence_gaps(technician=chosen, plant=plant, on=on, commissioning=commissioning)
    return render(request, "office/licence-check.html", {"gaps": gaps, "technician": chosen})


@page_for(OFFICE)
@require_POST
def cancel(request: PersonRequest, pk: int) -> HttpResponse:
    """Take back a booking."""
    rows = Attendance.objects.visible_to(request.user).select_related("plant", "technician")
    attendance = get_object_or_404(rows, pk=pk)
    try:
        attendance_cancel(by=request.user, attendance=attendance)
    except Problem as problem:
        messages.error(request, problem.detail)
    else:
        messages.success(request, _("Cancelled: %(what)s.") % {"what": attendance})
    return redirect("web:bookings")


def _booked(attendance: Attendance) -> str:
    return _("Booked: %(technician)s at %(plant)s on %(day)s.") % {
        "technician": attendance.technician,
        "plant": attendance.plant,
        "day": f"{attendance.local_on:%d %b %Y}",
    }


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None
