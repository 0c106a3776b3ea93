"""The fleet over REST: lists by cursor, and one appliance. Filters live in the query."""

from typing import Any, ClassVar

from django.db.models import Prefetch, Q, QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.generics import ListAPIView, RetrieveAPIView

from common.paging import LARGEST_ID, ListQuery
from fleet import serializers as out
from fleet.models import Analyser, AnalyserPeriod, Appliance, ApplianceModel, Customer, Plant, Site
from people.permissions import SignedIn, WorksHere


class TextQuery(ListQuery):
    q = serializers.CharField(required=False, max_length=100, help_text="Part of the name.")


class SiteQuery(TextQuery):
    customer = serializers.IntegerField(required=False, min_value=1, max_value=LARGEST_ID)


class PlantQuery(TextQuery):
    site = serializers.IntegerField(required=False, min_value=1, max_value=LARGEST_ID)


class ApplianceQuery(ListQuery):
    q = serializers.CharField(required=False, max_length=100, help_text="Part of tag, serial, plant or site.")
    site = serializers.IntegerField(required=False, min_value=1, max_value=LARGEST_ID)
    plant = serializers.IntegerField(required=False, min_value=1, max_value=LARGEST_ID)
    tag = serializers.CharField(required=False, max_length=80, help_text="The whole tag.")
    serial = serializers.CharField(required=False, max_length=80, help_text="The whole serial number.")
    due_before = serializers.DateField(required=False, help_text="In use and due before this day.")


class AnalyserQuery(ListQuery):
    q = serializers.CharField(required=False, max_length=100, help_text="Part of tag or serial.")
    tag = serializers.CharField(required=False, max_length=80, help_text="The whole tag.")
    serial = serializers.CharField(required=False, max_length=80, help_text="The whole serial number.")


class FleetList(ListAPIView[Any]):
    """The rows a person may see, narrowed by the words of the query, newest first.

    text_in: the columns that `q` is looked for in.   lookups: other words, by the column each must equal.
    """

    permission_classes = [SignedIn]
    query: ClassVar[type[ListQuery]] = TextQuery
    text_in: ClassVar[tuple[str, ...]] = ("name",)
    lookups: ClassVar[dict[str, str]] = {}

    def rows(self) -> QuerySet[Any]:
        raise NotImplementedError

    def get_queryset(self) -> QuerySet[Any]:
        asked = self.query.asked(self.request)
        rows = self.rows().filter(**{self.lookups[word]: asked[word] for word in asked.keys() & self.lookups})
        if "q" in asked:
            anywhere = Q(*((f"{column}__icontains", asked["q"]) for column in self.text_in), _connector=Q.OR)
            rows = rows.filter(anywhere)
        return rows


@extend_schema(parameters=[TextQuery])
class Customers(FleetList):
    """Customers."""

    serializer_class = out.CustomerSerializer

    def rows(self) -> QuerySet[Any]:
        return Customer.objects.visible_to(self.request.user)


@extend_schema(parameters=[SiteQuery])
class Sites(FleetList):
    """Sites with their customers."""

    serializer_class = out.SiteSerializer
    query = SiteQuery
    text_in = ("name", "customer__name", "address")
    lookups = {"customer": "customer"}

    def rows(self) -> QuerySet[Any]:
        return Site.objects.visible_to(self.request.user).select_related("customer", "gas_area")


@extend_schema(parameters=[PlantQuery])
class Plants(FleetList):
    """Boiler rooms."""

    serializer_class = out.PlantSerializer
    query = PlantQuery
    text_in = ("name", "site__name")
    lookups = {"site": "site"}

    def rows(self) -> QuerySet[Any]:
        return Plant.objects.visible_to(self.request.user).select_related("site__customer")


@extend_schema(parameters=[ApplianceQuery])
class Appliances(FleetList):
    """Boilers and water heaters."""

    serializer_class = out.ApplianceSerializer
    query = ApplianceQuery
    text_in = ("tag", "serial", "plant__name", "plant__site__name")
    lookups = {"site": "plant__site", "plant": "plant", "tag": "tag", "serial": "serial"}

    def rows(self) -> QuerySet[Any]:
        rows = Appliance.objects.visible_to(self.request.user).with_place()
        due_before = self.query.asked(self.request).get("due_before")
        return rows if due_before is None else rows.in_use().filter(next_due_on__lt=due_before)


class ApplianceDetail(RetrieveAPIView[Appliance]):
    """One appliance with its burners and its model's trims and firing specs."""

    permission_classes = [SignedIn]
    serializer_class = out.ApplianceDetailSerializer
    lookup_field = "uuid"

    def get_queryset(self) -> QuerySet[Appliance]:
        rows = Appliance.objects.visible_to(self.request.user).with_place()
        return rows.prefetch_related("burners", "model__trims", "model__firing_specs")


@extend_schema(parameters=[AnalyserQuery])
class Analysers(FleetList):
    """Analysers with their channels and calibration periods."""

    permission_classes = [WorksHere]
    serializer_class = out.AnalyserSerializer
    query = AnalyserQuery
    text_in = ("tag", "serial")
    lookups = {"tag": "tag", "serial": "serial"}

    def rows(self) -> QuerySet[Any]:
        periods = AnalyserPeriod.objects.order_by("starts_on", "id")
        return Analyser.objects.prefetch_related("channels", Prefetch("periods", periods))


@extend_schema(parameters=[TextQuery])
class Models(FleetList):
    """Makers' models with their trims and firing specs."""

    permission_classes = [WorksHere]
    serializer_class = out.ApplianceModelSerializer
    text_in = ("name", "maker__name")

    def rows(self) -> QuerySet[Any]:
        return ApplianceModel.objects.select_related("maker").prefetch_related("trims", "firing_specs")
