"""Whose lists a person sees: those of the firm, when they may bring lists in."""

from django.db.models import QuerySet

from accounts.models import Person
from accounts.roles import Action
from service.importing.models import ListImport


def visible_lists(person: Person) -> QuerySet[ListImport]:
    """The one door to lists for pages."""
    lists = ListImport.objects.filter(organisation=person.organisation_id)
    return lists if person.may(Action.IMPORT_LISTS) else lists.none()
