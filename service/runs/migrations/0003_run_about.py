"""A run names the row that it works on in a column of its own, by which it is found."""

from typing import Any

from django.db import migrations, models

# What the arguments of the record's task said so far. Keys are written with dashes there.
_FOUND = {
    "postgresql": "(arguments ->> 'visit')::uuid",
    "sqlite": "replace(json_extract(arguments, '$.visit'), '-', '')",
}


def name_the_visit(apps: Any, editor: Any) -> None:
    found = _FOUND[editor.connection.vendor]
    editor.execute(f"UPDATE runs_run SET about = {found} WHERE task = 'reports.build_visit_record'")


class Migration(migrations.Migration):
    dependencies = [("runs", "0002_send_again_at")]

    operations = [
        migrations.AddField("run", "about", models.UUIDField(editable=False, null=True)),
        migrations.RunPython(name_the_visit, migrations.RunPython.noop),
        migrations.AddIndex("run", models.Index(fields=["organisation", "about"], name="run_about")),
    ]
