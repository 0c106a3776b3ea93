"""Planning over REST: what is due, what to follow up, an appliance's history, a technician's day."""

from typing import cast
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework import serializers
from rest_framework.exceptions import PermissionDenied, ValidationError
from rest_framework.generics import GenericAPIView, ListAPIView, get_object_or_404
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from analytics.models import ApplianceDrift
from common.conditional import conditional_answer
from common.paging import ListQuery
from common.schema import ProblemDetails
from fleet.models import Appliance
from people.models import Role, User
from people.permissions import OfficeOnly, SignedIn, WorksHere, role_of
from planning import serializers as out
from planning.bundle.reading import bundle_of
from planning.bundle.serializers import DaySerializer
from planning.bundle.telling import bundle_body
from planning.earlier import earlier_visit_decide, earlier_visits_waiting
from planning.models import DueDate, EarlierVisit, FollowUp
from planning.selectors import history_of
from planning.services import follow_up_close
from visits.models import Visit


class DueQuery(ListQuery):
    status = serializers.ChoiceField(
        choices=["overdue", "due", "upcoming", "undated"],
        required=False,
        help_text="overdue: the window has closed; due: it is open; upcoming: not open yet; undated: in use "
        "but without a date, with the reason. Left out: all with a date, soonest first.",
    )
    before = serializers.DateField(required=False, help_text="Due before this day.")


class FollowUpQuery(ListQuery):
    state = serializers.ChoiceField(choices=FollowUp.State.values, default=FollowUp.State.OPEN)


class DayQuery(ListQuery):
    date = serializers.DateField(required=False, help_text="The day at the sites; left out: today, UTC.")
    technician = serializers.CharField(
        required=False,
        max_length=150,
        help_text="User name. The office names one; a technician is their own.",
    )


@extend_schema(parameters=[DueQuery])
class DueList(ListAPIView[DueDate]):
    """Appliances by the day they must be seen. What is overdue stays on top until it is seen or retired."""

    permission_classes = [WorksHere]
    serializer_class = out.DueDateSerializer
    queryset = DueDate.objects.none()
    ordering: tuple[str, ...] = ("due_on", "id")

    def get_queryset(self) -> QuerySet[DueDate]:
        asked = DueQuery.asked(self.request)
        rows = DueDate.objects.visible_to(self.request.user).with_place()
        rows = rows.of_status(asked.get("status", "dated"), timezone.localdate())
        if asked.get("status") == "undated":
            self.ordering = ("id",)
        elif "before" in asked:
            rows = rows.filter(due_on__lt=asked["before"])
        return rows.select_related("contract", "basis_visit")


@extend_schema(parameters=[FollowUpQuery])
class FollowUpList(ListAPIView[FollowUp]):
    """Visits that left something to do for the office, oldest first; open ones unless asked otherwise."""

    permission_classes = [WorksHere]
    serializer_class = out.FollowUpSerializer
    queryset = FollowUp.objects.none()
    ordering = ("id",)

    def get_queryset(self) -> QuerySet[FollowUp]:
        rows = FollowUp.objects.visible_to(self.request.user).filter(**FollowUpQuery.asked(self.request))
        return rows.with_place().select_related("visit__technician", "done_by")


class FollowUpDone(GenericAPIView[FollowUp]):
    """The office's word on a follow-up."""

    permission_classes = [OfficeOnly]
    serializer_class = out.FollowUpDoneSerializer
    queryset = FollowUp.objects.none()

    @extend_schema(responses={200: out.FollowUpSerializer, 409: ProblemDetails})
    def post(self, request: Request, pk: int) -> Response:
        """Say how it was seen to, where no visit does."""
        row = get_object_or_404(FollowUp.objects.visible_to(request.user).with_place(), pk=pk)
        said = self.get_serializer(data=request.data)
        said.is_valid(raise_exception=True)
        by = cast(User, request.user)
        done = follow_up_close(by=by, follow_up=row, note=said.validated_data["note"])
        return Response(out.FollowUpSerializer(done).data)


class EarlierVisitList(ListAPIView[ApplianceDrift]):
    """Earlier visits that drift proposes and that wait for the office's answer, the soonest first."""

    permission_classes = [OfficeOnly]
    serializer_class = out.ProposalSerializer
    queryset = ApplianceDrift.objects.none()
    ordering = ("next_visit_by", "id")

    def get_queryset(self) -> QuerySet[ApplianceDrift]:
        ListQuery.asked(self.request)
        rows = earlier_visits_waiting(user=cast(User, self.request.user))
        return rows.select_related("appliance__model__maker")


class EarlierVisitDecision(GenericAPIView[EarlierVisit]):
    """The office's answer to a proposed earlier visit."""

    permission_classes = [OfficeOnly]
    serializer_class = out.DecisionSerializer
    queryset = EarlierVisit.objects.none()

    @extend_schema(responses={201: out.EarlierVisitSerializer, 409: ProblemDetails})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Accepting moves the due date. 409 where nothing is proposed, or it was answered before."""
        by = cast(User, request.user)
        appliance = get_object_or_404(Appliance.objects.visible_to(by), uuid=uuid)
        asked = self.get_serializer(data=request.data)
        asked.is_valid(raise_exception=True)
        said = asked.validated_data
        row = earlier_visit_decide(
            by=by,
            appliance=appliance,
            accept=said["decision"] == EarlierVisit.Decision.ACCEPTED,
            come_by=said["come_by"],
            reason=said["reason"],
            today=timezone.localdate(),
        )
        return Response(out.EarlierVisitSerializer(row).data, status=201)


class History(ListAPIView[Visit]):
    """An appliance's visits, newest first, with health and the settled values of their tests."""

    permission_classes = [SignedIn]
    serializer_class = out.HistorySerializer
    queryset = Visit.objects.none()
    ordering = ("-opened_at", "-id")

    def get_queryset(self) -> QuerySet[Visit]:
        ListQuery.asked(self.request)
        mine = Appliance.objects.visible_to(self.request.user)
        return history_of(get_object_or_404(mine, uuid=self.kwargs["uuid"]))


class DayView(APIView):
    """A technician's day for a device that will have no signal."""

    permission_classes = [WorksHere]

    @extend_schema(
        parameters=[
            DayQuery,
            OpenApiParameter(
                "If-None-Match", OpenApiTypes.STR, OpenApiParameter.HEADER, description="The tag held."
            ),
        ],
        responses={200: DaySerializer, 304: OpenApiResponse(description="It is as the tag says.")},
    )
    def get(self, request: Request) -> HttpResponse:
        """One's own day for a technician; the day of `?technician=` for the office.

        Attendances in order, and once each what they share: plants, appliances with their last visit and
        open findings, models with specs, trims and what their turns do, items, limits, fuels, analysers,
        constants.
        """
        asked = DayQuery.asked(request)
        technician = _technician(cast(User, request.user), asked.get("technician"))
        bundle = bundle_of(technician, asked.get("date") or timezone.localdate())
        return conditional_answer(request._request, bundle_body(bundle))


def _technician(user: User, named: str | None) -> User:
    """Whose day is asked for: a technician has their own alone, the office names one."""
    if role_of(user) == Role.TECHNICIAN:
        if named not in (None, user.username):
            raise PermissionDenied("A technician sees their own day; the office sees everyone's.")
        return user
    if named is None:
        raise ValidationError({"technician": ["Name the technician whose day it is."]})
    found = User.objects.filter(username=named, role=Role.TECHNICIAN).first()
    if found is None:
        raise ValidationError({"technician": [f"No technician has the user name {named!r}."]})
    return found
