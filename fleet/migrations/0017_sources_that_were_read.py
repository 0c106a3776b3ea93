"""Sources of the shipped gas annual that were from memory and have been read since; limits stay as they are.

What the office has changed in the meantime is left alone.
"""

from django.db import migrations

CHANGED = (
    (
        "water_ph",
        "VDI 2035 part 1 (from memory); with aluminium the maker's narrower range",
        (
            "VDI 2035 part 1 (2021), read in a summary of it, not in itself; with aluminium the maker's narrower "
            "range"
        ),
        "read",
    ),
    (
        "water_conductivity",
        "VDI 2035 part 1, operation with salts (from memory); the maker may ask for less",
        (
            "VDI 2035 part 1 (2021), operation with salts, read in a summary of it, not in itself; the maker may ask "
            "for less"
        ),
        "read",
    ),
    (
        "working_inlet_pressure",
        (
            "21 ± 2 mbar at the meter's outlet and at most 1 mbar lost to the appliance, low-pressure supplies "
            "(IGEM/UP/2 and BS 6400, from memory); the maker's figure comes first"
        ),
        (
            "nominally 21 mbar at the meter's outlet (abstract of BS 6400-1:2016, read), ± 2 mbar and at most "
            "1 mbar lost to the appliance (IGEM/UP/2 and BS 6400, from memory); the maker's figure comes first"
        ),
        "memory",
    ),
)


def say_what_was_read(apps, schema_editor):
    items = apps.get_model("fleet", "ServiceItem").objects
    for code, before, now, mark in CHANGED:
        items.filter(code=code, source=before).update(source=now, mark=mark)


def say_it_as_before(apps, schema_editor):
    items = apps.get_model("fleet", "ServiceItem").objects
    for code, before, now, _mark in CHANGED:
        items.filter(code=code, source=now).update(source=before, mark="memory")


class Migration(migrations.Migration):
    dependencies = [("fleet", "0016_shipped_load_assumptions")]

    operations = [migrations.RunPython(say_what_was_read, say_it_as_before)]
