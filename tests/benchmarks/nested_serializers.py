"""The yardstick for saves: the same body through nested serializers with bulk_create, only stored.

Written as the framework's own documentation teaches it: one serializer a level, one bulk insert a table.
"""

from django.db import connection, models, transaction
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from fleet.models import Analyser, Appliance
from people.permissions import WorksHere
from visits.measured import MEASURED_FIELDS
from visits.models import Attendance, FiringTest, Visit


class PlainReading(models.Model):
    """One reading as a row of its own; the table is made for the benchmark and dropped after it."""

    test = models.ForeignKey(FiringTest, on_delete=models.CASCADE, related_name="+")
    at = models.DateTimeField()
    co2_pct = models.FloatField(null=True)
    o2_pct = models.FloatField(null=True)
    co_ppm = models.FloatField(null=True)
    nox_ppm = models.FloatField(null=True)
    flue_temp_c = models.FloatField(null=True)
    air_temp_c = models.FloatField(null=True)
    flow_temp_c = models.FloatField(null=True)
    return_temp_c = models.FloatField(null=True)
    inlet_pressure_mbar = models.FloatField(null=True)
    gas_rate_m3_h = models.FloatField(null=True)
    flame_signal_ua = models.FloatField(null=True)
    fan_rpm = models.FloatField(null=True)
    ambient_co_ppm = models.FloatField(null=True)

    class Meta:
        app_label = "visits"

    def __str__(self) -> str:
        return f"reading {self.pk}"


class PlainReadingSerializer(serializers.ModelSerializer[PlainReading]):
    class Meta:
        model = PlainReading
        exclude = ["id", "test"]


class PlainTestSerializer(serializers.ModelSerializer[FiringTest]):
    readings = PlainReadingSerializer(many=True)
    settled_stated = serializers.BooleanField(write_only=True)

    class Meta:
        model = FiringTest
        fields = ["key", "point", "phase", "sequence", "settled_stated", "readings"]


class PlainVisitSerializer(serializers.ModelSerializer[Visit]):
    appliance = serializers.SlugRelatedField(slug_field="uuid", queryset=Appliance.objects.all())
    analyser = serializers.SlugRelatedField(slug_field="uuid", queryset=Analyser.objects.all())
    tests = PlainTestSerializer(many=True)

    class Meta:
        model = Visit
        fields = ["appliance", "analyser", "kind", "opened_at", "tests"]


class PlainVisitView(APIView):
    """Store, and answer with what was stored."""

    permission_classes = [WorksHere]

    def put(self, request: Request, visit_uuid: str) -> Response:
        serializer = PlainVisitSerializer(data=request.data)
        serializer.is_valid(raise_exception=True)
        data = dict(serializer.validated_data)
        tests = data.pop("tests")
        day = data["opened_at"].date()
        with transaction.atomic():
            attendance, _ = Attendance.objects.get_or_create(
                plant_id=data["appliance"].plant_id, technician=request.user, local_on=day
            )
            visit = Visit.objects.create(
                uuid=visit_uuid,
                attendance=attendance,
                technician=request.user,
                local_on=day,
                fuel=data["appliance"].fuel,
                **data,
            )
            burner = data["appliance"].burners.first()
            rows = FiringTest.objects.bulk_create(
                FiringTest(
                    visit=visit,
                    burner=burner,
                    fuel=visit.fuel,
                    key=test["key"],
                    point=test["point"],
                    phase=test["phase"],
                    sequence=test["sequence"],
                    **{name: test["readings"][-1].get(name) for name in MEASURED_FIELDS},
                )
                for test in tests
            )
            PlainReading.objects.bulk_create(
                PlainReading(test=row, **reading)
                for row, test in zip(rows, tests, strict=True)
                for reading in test["readings"]
            )
        return Response({"uuid": visit_uuid, **request.data}, status=201)


def table_make() -> None:
    """Create the yardstick's table."""
    with connection.schema_editor() as editor:
        editor.create_model(PlainReading)


def table_drop() -> None:
    """Drop the yardstick's table."""
    with connection.schema_editor() as editor:
        editor.delete_model(PlainReading)
