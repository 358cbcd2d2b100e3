"""Which guideline set judges a spa, where it was chosen, and choosing another.

A spa follows its own set, else its site's, its client's, the firm's.
"""

from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.db import transaction
from django.db.models import QuerySet

from accounts.access import require
from accounts.audit import record_event
from accounts.models import Organisation, Person
from accounts.roles import Action
from service.chemistry.errors import InputError
from service.chemistry.guidelines import Guideline, check_choice, get
from service.sites.archive import in_use
from service.sites.models import Client, Sanitiser, Site, Spa
from service.sites.saving import change_row

Place = Client | Site | Spa
NAMED_IN_A_REFUSAL = 3


@dataclass(frozen=True)
class InForce:
    """The set in force at a place.

    guideline   None when the stored id is not a set that Runnel knows.
    chosen_at   The row whose choice it is: the place itself or one above it, at last the firm.
    inherited   Whether it was chosen above the place.
    """

    guideline_id: str
    guideline: Guideline | None
    chosen_at: Place | Organisation
    inherited: bool

    @property
    def chosen_words(self) -> str:
        """Where it was chosen: "chosen for this spa", "from the client Larch Lets"."""
        if isinstance(self.chosen_at, Organisation):
            return f"from the firm, {self.chosen_at}"
        what = self.chosen_at._meta.verbose_name
        return f"from the {what}, {self.chosen_at}" if self.inherited else f"chosen for this {what}"


def in_force(place: Place) -> InForce:
    """The set that judges ``place`` and where it was chosen. Needs the rows above loaded."""
    return _first_chosen(place, levels(place))


def inherited(place: Place) -> InForce:
    """The set that would judge ``place`` if it chose none itself."""
    return _first_chosen(place, levels(place)[1:])


def levels(place: Place) -> list[Place | Organisation]:
    """The place and the rows above it, up to the firm."""
    if isinstance(place, Spa):
        return [place, *levels(place.site)]
    if isinstance(place, Site):
        return [place, *levels(place.client)]
    return [place, place.organisation]


def _first_chosen(place: Place, above: list[Place | Organisation]) -> InForce:
    chosen_at = next((level for level in above if level.guideline_id), above[-1])
    guideline_id = chosen_at.guideline_id
    return InForce(guideline_id, known(guideline_id), chosen_at, inherited=chosen_at is not place)


def known(guideline_id: str) -> Guideline | None:
    """The set, or the pair joined with "+", of that id; None when there is none."""
    try:
        return get(guideline_id)
    except InputError:
        return None


def why_unsuited(guideline: Guideline | None, sanitiser: str) -> str:
    """Why the set cannot judge a spa on this sanitiser, as a sentence; "" when it can."""
    if guideline is None:
        return "The guideline set in force is not known to Runnel: choose another."
    try:
        check_choice(guideline, sanitiser=sanitiser)
    except InputError:
        if not guideline.portable_tubs:
            return f"{guideline.title}: this set is not for portable tubs ({guideline.suitability})."
        return (
            f"{guideline.title}: this set gives no figure for {sanitiser}, so it cannot judge a spa on "
            f"{sanitiser} alone. Choose a set that gives one, or use the two together."
        )
    return ""


def choose_guideline(*, place: Place, guideline_id: str, by: Person) -> Place:
    """Let ``place`` follow a set, or a pair "a+b"; "" lets it follow what is chosen above it.

    Raises NotAllowed; ValidationError (field ``guideline_id``) for an unknown set, a pair that may
    not be made, or a set that cannot judge a spa that would follow it.
    """
    require(by, Action.EDIT_SITES)
    _check(place, guideline_id)
    return change_row(
        place,
        {"guideline_id": guideline_id},
        action=f"{place._meta.model_name}.guideline_chosen",
        by=by,
        figures=("guideline_id",),
    )


@transaction.atomic
def choose_firm_guideline(*, guideline_id: str, by: Person) -> Organisation:
    """Let every spa follow a set, or a pair "a+b", for which nothing nearer chooses another.

    Raises NotAllowed; ValidationError (field ``guideline_id``) for an unknown set, a pair that may
    not be made, or a set that cannot judge a spa that would follow it.
    """
    require(by, Action.EDIT_FIRM)
    firm = Organisation.objects.select_for_update().get(pk=by.organisation_id)
    followers = in_use(Spa.objects.filter(guideline_id="", site__guideline_id=""))
    _check_set(guideline_id, followers.filter(site__client__guideline_id=""))
    if guideline_id != firm.guideline_id:
        was, firm.guideline_id = firm.guideline_id, guideline_id
        firm.save(update_fields=["guideline_id"])
        detail = {"changed": ["guideline_id"], "guideline_id": [was, guideline_id]}
        record_event(action="firm.guideline_chosen", subject=firm, by=by, detail=detail)
    return firm


def _check(place: Place, guideline_id: str) -> None:
    _check_set(
        guideline_id or inherited(place).guideline_id, _following(place), name=not isinstance(place, Spa)
    )


def _check_set(guideline_id: str, followers: QuerySet[Spa], *, name: bool = True) -> None:
    """Raise unless the set can judge every spa that follows it. name: say which spas it cannot judge."""
    try:
        chosen = get(guideline_id)
    except InputError as unknown:
        raise ValidationError({"guideline_id": unknown.errors[0].message}) from unknown
    for sanitiser in Sanitiser.values:
        reason = why_unsuited(chosen, sanitiser)
        if reason and (spas := list(followers.filter(sanitiser=sanitiser)[: NAMED_IN_A_REFUSAL + 1])):
            raise ValidationError({"guideline_id": reason + (_which(spas) if name else "")})


def _following(place: Place) -> QuerySet[Spa]:
    """Spas in use that follow the choice made at ``place``: no row between has its own."""
    if isinstance(place, Spa):
        return Spa.objects.filter(pk=place.pk)
    spas = in_use(Spa.objects.filter(guideline_id=""))
    if isinstance(place, Site):
        return spas.filter(site=place)
    return spas.filter(site__client=place, site__guideline_id="")


def _which(spas: list[Spa]) -> str:
    names = ", ".join(spa.name for spa in spas[:NAMED_IN_A_REFUSAL])
    more = " and others" if len(spas) > NAMED_IN_A_REFUSAL else ""
    return f" Here that is {names}{more}: give them a set of their own first."
