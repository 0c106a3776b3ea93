"""REST addresses of fleet, under /api/v1/."""

from django.urls import path

from fleet import api, gas_reports, items_api, safety_api
from fleet.computing import api as computing

urlpatterns = [
    path("flue-gas/", computing.FlueGas.as_view(), name="flue-gas"),
    path("gas-rate/", computing.GasRate.as_view(), name="gas-rate"),
    path("fuels/", computing.Fuels.as_view(), name="fuels"),
    path("fuels/properties/", computing.FuelProperties.as_view(), name="fuel-properties"),
    path("fuels/<slug:slug>/", computing.FuelDetail.as_view(), name="fuel"),
    path("gas-reports/", gas_reports.GasReports.as_view(), name="gas-reports"),
    path("customers/", api.Customers.as_view(), name="customers"),
    path("sites/", api.Sites.as_view(), name="sites"),
    path("plants/", api.Plants.as_view(), name="plants"),
    path("appliances/", api.Appliances.as_view(), name="appliances"),
    path("appliances/<any_uuid:uuid>/", api.ApplianceDetail.as_view(), name="appliance"),
    path("item-sets/", items_api.ItemSets.as_view(), name="item-sets"),
    path("appliances/<any_uuid:uuid>/safety/", safety_api.Safety.as_view(), name="safety"),
    path("analysers/", api.Analysers.as_view(), name="analysers"),
    path("models/", api.Models.as_view(), name="models"),
]
