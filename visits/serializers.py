"""What lists of visits show."""

from rest_framework import serializers

from visits.models import Visit


class VisitLine(serializers.ModelSerializer[Visit]):
    """One visit in a list."""

    appliance = serializers.UUIDField(source="appliance.uuid")
    tag = serializers.CharField(source="appliance.tag")
    plant = serializers.CharField(source="appliance.plant.name")
    site = serializers.CharField(source="appliance.plant.site.name")
    attendance = serializers.UUIDField(source="attendance.uuid")
    technician = serializers.CharField(allow_null=True)

    class Meta:
        model = Visit
        fields = [
            "uuid",
            "kind",
            "appliance",
            "tag",
            "plant",
            "site",
            "attendance",
            "technician",
            "opened_at",
            "closed_at",
            "local_on",
            "outcome",
            "uncountersigned",
            "revision",
            "health_as_found",
            "health_as_found_full",
            "health_as_left",
            "health_as_left_full",
        ]
