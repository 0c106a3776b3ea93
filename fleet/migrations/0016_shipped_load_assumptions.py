"""Hours at full load and share at low fire by kind of appliance, as the product comes."""

from django.db import migrations

from fleet.reference import LOAD_ASSUMPTIONS, load_assumptions_ship, reference_read


def ship(apps, schema_editor):
    load_assumptions_ship(LOAD_ASSUMPTIONS, apps.get_model("fleet", "LoadAssumption"))


def withdraw(apps, schema_editor):
    kinds = [row["kind"] for row in reference_read(LOAD_ASSUMPTIONS)["assumption"]]
    apps.get_model("fleet", "LoadAssumption").objects.filter(kind__in=kinds).delete()


class Migration(migrations.Migration):
    dependencies = [("fleet", "0015_yearly_gas_and_prices")]

    operations = [migrations.RunPython(ship, withdraw)]
