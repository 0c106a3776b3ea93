"""REST addresses of visits, under /api/v1/."""

from django.urls import path

from visits import api, putting_back_api
from visits.photographs import api as photographs_api
from visits.service_record import api as record_api

urlpatterns = [
    path(
        "visits/<any_uuid:visit_uuid>/photographs/", photographs_api.Photographs.as_view(), name="photographs"
    ),
    path(
        "visits/<any_uuid:visit_uuid>/photographs/<any_uuid:key>/",
        photographs_api.PhotographDetail.as_view(),
        name="photograph",
    ),
    path(
        "appliances/<any_uuid:uuid>/put-back-suggestions/",
        putting_back_api.PutBackSuggestions.as_view(),
        name="put-back-suggestions",
    ),
    path("visits/", api.VisitList.as_view(), name="visits"),
    path("visits/batch/", api.VisitBatch.as_view(), name="visit-batch"),
    path("visits/<any_uuid:visit_uuid>/", api.VisitDetail.as_view(), name="visit"),
    path("visits/<any_uuid:visit_uuid>/now/", api.VisitNowView.as_view(), name="visit-now"),
    path(
        "visits/<any_uuid:visit_uuid>/corrections/", api.VisitCorrections.as_view(), name="visit-corrections"
    ),
    path(
        "visits/<any_uuid:visit_uuid>/countersignature/",
        api.VisitCountersignature.as_view(),
        name="visit-countersignature",
    ),
    path(
        "attendances/<any_uuid:attendance_uuid>/record/",
        record_api.AttendanceRecord.as_view(),
        name="attendance-record",
    ),
    path(
        "attendances/<any_uuid:attendance_uuid>/record.pdf",
        record_api.AttendanceRecordPdf.as_view(),
        name="attendance-record-pdf",
    ),
]
