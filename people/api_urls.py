"""REST addresses of people, under /api/v1/."""

from django.urls import path

from people import api

urlpatterns = [
    path("tokens/", api.DeviceTokens.as_view(), name="device-tokens"),
    path("tokens/<int:pk>/", api.DeviceTokenEnd.as_view(), name="device-token"),
]
