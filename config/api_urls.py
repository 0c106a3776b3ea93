"""The REST addresses, one app after the other, and the description of them all."""

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView

urlpatterns = [
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("schema/page/", SpectacularSwaggerSplitView.as_view(url_name="schema"), name="schema-page"),
    path("", include("people.api_urls")),
    path("", include("fleet.api_urls")),
    path("", include("visits.api_urls")),
    path("", include("analytics.api_urls")),
    path("", include("planning.api_urls")),
]
