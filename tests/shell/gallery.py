"""Every component on one page, for tests and for looking at. Routed by tests only."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.template import engines
from django.urls import path

from service.shell.bandline import band_line
from service.shell.fields import NumberField, ReadingInput
from service.shell.lane import Lane
from service.shell.timeplot import Event, Point, TimePlot
from service.urls import urlpatterns as product_urls

MARCH = datetime(2026, 3, 1, tzinfo=UTC)


@dataclass(frozen=True)
class State:
    state: str
    word: str
    shape: str
    sentence: str


STATES = [
    State("fit", "Fit for use", "●", "since 14:30, next test due 16:30"),
    State("fit_from", "Fit from 15:10", "●", "nothing can still push it out"),
    State("closed", "Closed", "■", "since Tue 3 Mar 2026, 14:30; retest by the caretaker at 16:00"),
    State("retest", "Retest", "▲", "due since 16:30"),
    State("not_tested", "Not tested since Sun 1 Mar 2026", "○", ""),
]
LINES = [
    band_line(
        name="pH", lowest=6, highest=9, low=Decimal("7.2"), high=Decimal("7.8"), ideal_low=Decimal("7.4"),
        ideal_high=Decimal("7.6"), value=Decimal("8.1"), plus_minus=Decimal("0.1"), last=Decimal("7.6"),
        expected=Decimal("7.5"),
    ),
    band_line(name="Free chlorine", unit="mg/L", lowest=0, highest=10, low=3, high=5, value=Decimal("3.8")),
    band_line(name="Temperature", unit="°C", lowest=5, highest=45, high=40, value=48, plus_minus=1),
    band_line(name="Combined chlorine", unit="mg/L", lowest=0, highest=3, high=1, last=Decimal("0.6")),
]  # fmt: skip
PLOT = TimePlot(
    "Free chlorine",
    "mg/L",
    [
        Point(MARCH + timedelta(days=2 * n, hours=10), Decimal("2.6") + n * 7 % 5 * Decimal("0.7"))
        for n in range(14)
    ],
    MARCH,
    MARCH + timedelta(days=30),
    "Europe/London",
    low=3,
    high=5,
    rules=[MARCH + timedelta(days=12), MARCH + timedelta(days=26)],
)
LANE = Lane(
    {
        "Drained and refilled": [Event(MARCH + timedelta(days=12), "Drained and refilled")],
        "Closed": [Event(MARCH + timedelta(days=26), "Closed", until=MARCH + timedelta(days=28))],
    },
    PLOT.start,
    PLOT.end,
    PLOT.zone,
)


class GalleryForm(forms.Form):
    """One field of each kind."""

    name = forms.CharField(label="Name of the spa", max_length=60, help_text="As on the plate")
    volume = NumberField(name="Volume", unit="L", low=100, high=20000)
    ph = NumberField(
        name="pH", low=0, high=14, places=2, required=False, widget=ReadingInput(step="0.1", start="7.4")
    )
    chlorine = NumberField(
        name="Free chlorine",
        unit="mg/L",
        low=0,
        high=100,
        places=2,
        widget=ReadingInput(unit="mg/L", step="0.2"),
    )
    shell = forms.ChoiceField(label="Shell", choices=[("acrylic", "Acrylic"), ("wood", "Wood")])
    cover = forms.ChoiceField(
        label="Is the cover sound?",
        choices=[("yes", "Yes"), ("no", "No"), ("not_looked", "Not looked at")],
        widget=forms.RadioSelect,
    )
    notes = forms.CharField(label="Notes", widget=forms.Textarea, required=False)
    day = forms.DateField(label="Day", widget=forms.DateInput(attrs={"type": "date"}), required=False)
    agree = forms.BooleanField(label="The tap is marked", required=False)
    photo = forms.FileField(label="Photo", required=False, help_text="Up to 20 MB")


PAGE = """{% extends "shell/page.html" %}{% load shell %}
{% block title %}Gallery{% endblock %}
{% block trail %}<nav class="trail" aria-label="Where you are"><ol><li><a href="#a">Clients</a></li><li><a href="#b">Harbour Row</a></li></ol></nav>{% endblock %}
{% block heading %}North terrace tub{% endblock %}
{% block lead %}<p>{% fitness states.0 large=True %}</p>{% endblock %}
{% block actions %}<p class="actions"><a class="button main" href="#x">Start the visit</a> <a class="button" href="#y">Change</a></p>{% endblock %}
{% block content %}
<section><h2>States</h2><ul class="lines">{% for state in states %}<li>{% fitness state %}</li>{% endfor %}</ul></section>
<section><h2>Band lines</h2>{% for line in lines %}{% band_line line %}{% endfor %}</section>
<section><h2>Over time</h2>{% event_lane lane %}{% time_plot plot %}</section>
<section><h2>Facts</h2><dl class="facts"><div><dt>Volume</dt><dd>1,250 L, maker's plate</dd></div><div><dt>Shell</dt><dd>Acrylic</dd></div></dl>
<table class="folds"><caption>Visits</caption><thead><tr><th scope="col">Day</th><th scope="col">Spa</th><th scope="col" class="figure">pH</th></tr></thead>
<tbody>{% for i in page %}<tr><th scope="row"><a href="#v">{{ start|local_day:"UTC" }}</a></th><td data-name="Spa">North terrace</td><td class="figure" data-name="pH">7.{{ i }}</td></tr>{% endfor %}</tbody></table>
{% include "shell/pages.html" %}</section>
<section><h2>Nothing here</h2>{% include "shell/empty.html" with title="No visits yet" text="A visit is planned for a spa and a day." action_url="#p" action="Plan a visit" %}</section>
<section><h2>A form</h2>{% include "shell/form.html" with submit="Save the spa" cancel_url="#c" %}</section>
{% endblock %}"""  # noqa: E501


def render(request: HttpRequest, text: str, context: dict[str, Any]) -> HttpResponse:
    return HttpResponse(engines["django"].from_string(text).render(context, request))


@login_not_required
def gallery(request: HttpRequest) -> HttpResponse:
    form = GalleryForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        messages.success(request, "The spa is saved.")
    page = Paginator(range(30), 4).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "states": STATES,
        "lines": LINES,
        "plot": PLOT,
        "lane": LANE,
        "page": page,
        "start": MARCH,
    }
    return render(request, PAGE, context)


@login_not_required
def broken(request: HttpRequest) -> HttpResponse:
    raise RuntimeError("on purpose")


urlpatterns = [path("gallery/", gallery), path("broken/", broken), *product_urls]
