"""Addresses of the drift pages, beside the rest of the pages' in `web.urls`."""

from django.urls import URLPattern, path

from web.views import earlier
from web.views.drift import alerts, costs, sources, technicians, trends, wanderers

PATTERNS: list[URLPattern] = [
    path("drift/", wanderers.wanderers, name="wanderers"),
    path("drift/models/", sources.models, name="models"),
    path("drift/analysers/", sources.analysers, name="analysers"),
    path("drift/analysers/<int:pk>/", sources.analyser_period, name="analyser-period"),
    path("drift/gas/", sources.gas, name="gas"),
    path("drift/gas/<int:pk>/<int:year>-<int:month>/", sources.gas_month, name="gas-month"),
    path("drift/trends/", trends.trends, name="trends"),
    path("drift/costs/", costs.costs, name="costs"),
    path("drift/technicians/", technicians.technicians, name="technicians"),
    path("alerts/", alerts.alert_list, name="alerts"),
    path("alerts/<int:pk>/acknowledge/", alerts.acknowledge, name="alert-acknowledge"),
    path("due/earlier/", earlier.earlier_list, name="earlier-list"),
    path("appliances/<int:pk>/earlier/", earlier.earlier, name="earlier"),
    path("appliances/<int:pk>/drift/", wanderers.evidence, name="evidence"),
]
