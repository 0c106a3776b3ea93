"""Makes the house's admin site the one that every app registers with."""

from django.contrib.admin.apps import AdminConfig


class HouseAdminConfig(AdminConfig):
    default_site = "people.admin_site.HouseAdminSite"
