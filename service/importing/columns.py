"""The columns of every list: one table, read by the documentation page, the templates, import and export."""

from django import forms

from service.importing.columns_agreements import AGREEMENT_COLUMNS
from service.importing.kind import Column, Kind, make_kind, of_form
from service.rounds.models import Agreement
from service.sites.forms import ClientForm, SiteForm, SpaForm
from service.sites.models import Client, Site, Spa
from service.stock.models import Method
from service.visits.parameters import TESTS

ROWS_MAX = 20_000
COLUMNS_MAX = 60
FILE_MAX_BYTES = 5 * 1024 * 1024
KEY = "runnel_key"
TAKEN_AT = "taken_at"

_OURS = Column(
    KEY,
    "What Runnel calls the row. Leave it as it was exported; for a new row leave it empty.",
)
_CLIENT = Column("client", "The client's name, where there is no reference.", "Hillside Lets")
_SITE = Column("site", "The site's name, where there is no reference.", "Mill Barn")
_WHICH_SPA = (
    Column("spa_reference", "The reference of the spa.", "T-052"),
    _CLIENT,
    _SITE,
    Column("spa", "The spa's name, where there is no reference.", "Barn tub"),
)

CLIENTS = make_kind(
    "client",
    "Clients",
    "client",
    "Who pays. One row a client, known by its reference.",
    (
        *of_form(
            ClientForm,
            {
                "reference": "C-014",
                "name": "Hillside Lets",
                "kind": "let",
                "contact_name": "Ana Whitlow",
                "email": "office@hillside.example",
                "phone": "+44 1632 960123",
                "notes": "Invoice on the first of the month",
            },
        ),
        _OURS,
    ),
    model=Client,
)
SITES = make_kind(
    "site",
    "Sites",
    "site",
    "Where the tubs stand. One row a site, known by its reference; it names its client.",
    (
        Column("client_reference", "The reference of the client it belongs to.", "C-014"),
        _CLIENT,
        *of_form(
            SiteForm,
            {
                "reference": "S-031",
                "name": "Mill Barn",
                "address": "Mill Lane, Ashford Tarn",
                "latitude": "54.123456",
                "longitude": "-2.654321",
                "access_code": "4711",
                "access_notes": "Side gate; the dog is friendly",
                "parking": "On the gravel",
                "breaker": "Plant room, left of the door",
                "tap": "Behind the log store",
                "contact_name": "Caretaker",
                "contact_phone": "01632 960456",
            },
        ),
        _OURS,
    ),
    above="client",
    model=Site,
    apart=("client_reference", "client", "name"),
)
SPAS = make_kind(
    "spa",
    "Spas",
    "spa",
    "The tubs. One row a spa, known by its reference; it names its site.",
    (
        Column("site_reference", "The reference of the site it stands at.", "S-031"),
        _CLIENT,
        _SITE,
        *of_form(
            SpaForm,
            {
                "reference": "T-052",
                "name": "Barn tub",
                "volume_l": "1250",
                "volume_basis": "plate",
                "shell": "acrylic",
                "sanitiser": "chlorine",
                "setting": "outdoor",
                "feeder": "none",
                "set_temperature_c": "38",
                "heater_kw": "3",
                "fill_l_per_minute": "12",
                "filtration": "Two cartridges",
                "ozone_or_uv": "Ozone",
                "cover": "Folding, with lifter",
                "bather_capacity": "6",
                "commissioned_on": "2023-04-18",
                "forbidden_substances": "trichlor; bcdmh",
                "warranty_note": "No tablets in the skimmer",
                "notes": "",
            },
        ),
        _OURS,
    ),
    above="site",
    model=Spa,
    apart=("site_reference", "client", "site", "name"),
)
AGREEMENTS = make_kind(
    "agreement",
    "Agreements",
    "agreement",
    "How often which spa is visited. One row an agreement, known by its spa, how often and its first day; a "
    "spa may have several. Visits that are planned stay as they are: the next week that is planned follows "
    "the list.",
    (*_WHICH_SPA, *AGREEMENT_COLUMNS, _OURS),
    above="spa",
    model=Agreement,
    apart=("spa_reference", "client", "site", "spa", "frequency", "starts_on"),
    apart_at="starts_on",
    apart_words="spa, frequency and first day",
)
_READ = {
    "ph": "7.4",
    "free_chlorine_mg_l": "4.2",
    "total_alkalinity_mg_l": "95",
    "temperature_c": "38",
}
READINGS = make_kind(
    "reading",
    "Past readings",
    "reading",
    "What was read before the firm worked with Runnel. One row a test of the water: a spa, a time, and a "
    "column for each parameter. They are history only: shown as imported, never judged, and they never "
    "make a spa fit for use.",
    (
        *_WHICH_SPA,
        Column(
            TAKEN_AT,
            "When it was read, in the firm's time unless an offset is written. A day alone counts as noon.",
            "2025-06-14 10:30",
            limits="2026-05-31 14:30 or 31.05.2026 14:30, not in the future",
            wanted=True,
        ),
        Column(
            "method",
            "How it was read.",
            "photometer",
            choices=tuple((value, str(label)) for value, label in Method.choices),
            input=forms.CharField(required=False),
        ),
        *(
            Column(
                test.parameter,
                f"{test.label}. Empty: not measured. “<0.1” and “>10” where the test could only say so"
                + ("; 100 °F is turned into °C." if test.parameter == "temperature_c" else "."),
                _READ.get(test.parameter, ""),
                unit=test.unit,
                limits=test.range_words,
            )
            for test in TESTS
        ),
    ),
    above="spa",
    apart=("spa_reference", "client", "site", "spa", TAKEN_AT, "method"),
    apart_at=TAKEN_AT,
    apart_words="spa, time and method",
)
# In the order in which they are written: what a row names comes before it.
KINDS: dict[str, Kind] = {kind.key: kind for kind in (CLIENTS, SITES, SPAS, AGREEMENTS, READINGS)}
# A workbook with a sheet for each kind.
ALL = "all"
