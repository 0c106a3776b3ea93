"""REST addresses of planning, under /api/v1/."""

from django.urls import path

from planning import api

urlpatterns = [
    path("due/", api.DueList.as_view(), name="due"),
    path("follow-ups/", api.FollowUpList.as_view(), name="follow-ups"),
    path("follow-ups/<int:pk>/done/", api.FollowUpDone.as_view(), name="follow-up-done"),
    path("earlier-visits/", api.EarlierVisitList.as_view(), name="earlier-visits"),
    path(
        "appliances/<any_uuid:uuid>/earlier-visit/",
        api.EarlierVisitDecision.as_view(),
        name="earlier-visit-decide",
    ),
    path("appliances/<any_uuid:uuid>/history/", api.History.as_view(), name="appliance-history"),
    path("day/", api.DayView.as_view(), name="day"),
]
