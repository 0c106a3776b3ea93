"""REST addresses of analytics, under /api/v1/."""

from django.urls import path

from analytics import api

urlpatterns = [
    path("drift/", api.DriftList.as_view(), name="drift"),
    path("drift/trends/", api.TrendList.as_view(), name="drift-trends"),
    path("drift/costs/", api.CostList.as_view(), name="drift-costs"),
    path("gas-areas/shift/", api.GasList.as_view(), name="gas-shift"),
    path("alerts/", api.AlertList.as_view(), name="alerts"),
    path("alerts/<int:pk>/acknowledge/", api.AlertAcknowledge.as_view(), name="alert-acknowledge"),
    path("analysers/bias/", api.BiasList.as_view(), name="analyser-bias"),
]
