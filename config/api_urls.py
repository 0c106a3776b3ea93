"""The REST addresses, one app after the other."""

urlpatterns: list = []
