"""REST addresses of visits, under /api/v1/."""

from django.urls import path

from visits import api

urlpatterns = [
    path("visits/", api.VisitList.as_view(), name="visits"),
    path("visits/batch/", api.VisitBatch.as_view(), name="visit-batch"),
    path("visits/<uuid:visit_uuid>/", api.VisitDetail.as_view(), name="visit"),
    path("visits/<uuid:visit_uuid>/corrections/", api.VisitCorrections.as_view(), name="visit-corrections"),
    path(
        "visits/<uuid:visit_uuid>/countersignature/",
        api.VisitCountersignature.as_view(),
        name="visit-countersignature",
    ),
]
