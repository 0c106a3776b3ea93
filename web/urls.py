"""Addresses of the pages."""

from django.urls import path

from web.views import account, appliances, due, home, places, search, signing, visits

app_name = "web"
urlpatterns = [
    path("", home.home, name="home"),
    path("sign-in/", signing.sign_in, name="sign-in"),
    path("sign-out/", signing.sign_out, name="sign-out"),
    path("password/", signing.reset, name="reset"),
    path("password/sent/", signing.reset_sent, name="reset-sent"),
    path("password/<uidb64>/<token>/", signing.new_password, name="new-password"),
    path("account/", account.account, name="account"),
    path("account/devices/", account.device_issue, name="device-issue"),
    path("account/devices/<int:pk>/end/", account.device_end, name="device-end"),
    path("docs/", home.docs, name="docs"),
    path("due/", due.due, name="due"),
    path("appliances/<int:pk>/", appliances.appliance, name="appliance"),
    path("appliances/<int:pk>/story.csv", appliances.appliance_story, name="appliance-story"),
    path("find/", search.find, name="search"),
    path("customers/", places.customers, name="customers"),
    path("customers/<int:pk>/", places.customer, name="customer"),
    path("sites/<int:pk>/", places.site, name="site"),
    path("plants/<int:pk>/", places.plant, name="plant"),
    path("visits/<uuid:uuid>/", visits.visit, name="visit"),
]
