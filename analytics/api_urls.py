"""REST addresses of analytics, under /api/v1/."""

from django.urls import path

from analytics import api

urlpatterns = [
    path("drift/", api.DriftList.as_view(), name="drift"),
    path("analysers/bias/", api.BiasList.as_view(), name="analyser-bias"),
]
