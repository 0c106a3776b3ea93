from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("visits", "0009_open_findings"),
    ]

    operations = [
        migrations.AddField(
            model_name="firingtest",
            name="window_from_at",
            field=models.DateTimeField(
                help_text="Device clock, of the first reading that the settled value is a mean of.", null=True
            ),
        ),
    ]
