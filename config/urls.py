"""Every address of the product."""

from django.contrib import admin
from django.urls import include, path

urlpatterns = [
    path("api/v1/", include("config.api_urls")),
    path("admin/", admin.site.urls),
    path("", include("web.urls")),
]

handler400 = "config.missing.bad"
handler404 = "config.missing.not_found"
handler500 = "config.missing.failed"
