"""The repository keeps its own rules."""

import re
import subprocess
from pathlib import Path

import pytest
from django.apps import apps
from django.conf import settings

from accounts.ownership import OwnedByOrganisation
from accounts.roles import ALLOWED, Action, Role

ROOT = Path(settings.BASE_DIR)
TOP_LEVEL = {
    "README.md",
    "DEVELOPERS.md",
    "manage.py",
    "requirements.txt",
    "service",
    "accounts",
    "reports",
    "tests",
    "fixtures",
    "docker-compose.yml",
    "pyproject.toml",
}
OUR_APPS = ("accounts", "api", "runs", "sites", "stock", "visits", "reports", "demo", "shell")


def tracked_files() -> list[Path]:
    listing = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.splitlines()
    return [ROOT / name for name in listing if (ROOT / name).exists()]


def test_the_top_level_holds_only_what_is_agreed() -> None:
    top = {path.relative_to(ROOT).parts[0] for path in tracked_files()}

    assert {name for name in top if not name.startswith(".")} <= TOP_LEVEL


def test_no_module_is_a_grab_bag() -> None:
    vague = {"utils.py", "helpers.py", "common.py", "base.py", "misc.py"}

    assert [path for path in tracked_files() if path.name in vague] == []


def test_every_requirement_is_pinned_and_has_a_reason() -> None:
    lines = (ROOT / "requirements.txt").read_text().splitlines()
    needs = [line for line in lines if line and not line.startswith("#")]

    assert needs
    assert [line for line in needs if not re.fullmatch(r"[A-Za-z0-9_.\[\]-]+==\S+\s+# \S.*", line)] == []


def test_the_readme_gives_the_two_commands() -> None:
    readme = (ROOT / "README.md").read_text()
    install = "python3 -m venv .venv && .venv/bin/pip install -q -r requirements.txt && .venv/bin/python"

    assert f"\n{install} manage.py demo\n" in readme
    assert f"\n{install} -m pytest\n" in readme


def test_pictures_in_the_readme_exist() -> None:
    pictures = re.findall(r"!\[[^\]]*\]\(([^)]+)\)", (ROOT / "README.md").read_text())

    assert pictures
    assert [name for name in pictures if not (ROOT / name).exists()] == []


def test_files_and_folders_named_in_the_developers_map_exist() -> None:
    named = re.findall(
        r"`((?:accounts|service|reports|tests|fixtures|\.ci)/[^`*{} ]*)`",
        (ROOT / "DEVELOPERS.md").read_text(),
    )

    assert named
    assert [name for name in named if not (ROOT / name.split(":")[0]).exists()] == []


def test_only_the_settings_read_the_environment() -> None:
    readers = [
        path.relative_to(ROOT).as_posix()
        for path in tracked_files()
        if path.suffix == ".py"
        and path.relative_to(ROOT).parts[0] in {"accounts", "service", "reports"}
        and re.search(
            r"os\.environ\b(?!\.setdefault\(\"DJANGO_SETTINGS_MODULE\")|os\.getenv|environ\.Env",
            path.read_text(),
        )
    ]

    # The demonstration hands its environment on to the two processes it starts.
    assert readers == ["service/demo/management/commands/demo.py", "service/settings.py"]


def test_every_model_of_the_firm_belongs_to_an_organisation() -> None:
    models = [model for label in OUR_APPS for model in apps.get_app_config(label).get_models()]
    unowned = {model.__name__ for model in models if not issubclass(model, OwnedByOrganisation)}

    # Read while signing in, before an organisation is known; the trail has its own sealed shape.
    assert unowned == {"Organisation", "Person", "RoleGrant", "AuditEvent"}


def test_every_role_has_a_row_and_every_action_somebody_who_may_do_it() -> None:
    assert set(ALLOWED) == set(Role)
    assert set().union(*ALLOWED.values()) == set(Action)


@pytest.mark.parametrize("name", ["docker-compose.yml", ".ci/run"])
def test_the_secrets_are_asked_for_and_never_given(name: str) -> None:
    text = (ROOT / name).read_text()

    assert not re.search(r"(SECRET_KEY|SEALING_KEYS|POSTGRES_PASSWORD): *[A-Za-z0-9]{8,}", text)
