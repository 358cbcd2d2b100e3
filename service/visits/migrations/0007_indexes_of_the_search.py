"""Readings are found by parameter and time, visits by verdict, records by digest."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("visits", "0006_imported_readings")]

    operations = [
        migrations.AddIndex(
            "reading",
            models.Index(fields=["organisation", "parameter", "taken_at"], name="reading_by_time"),
        ),
        migrations.AddIndex(
            "record",
            models.Index(fields=["organisation", "digest"], name="record_by_digest"),
        ),
        migrations.AddIndex(
            "visit",
            models.Index(fields=["organisation", "verdict", "planned_on"], name="visit_by_verdict"),
        ),
    ]
