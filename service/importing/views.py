"""Pages of lists: upload, preview, confirm, take back; the columns, templates and exports."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from accounts.access import page_for, signed_in
from accounts.models import Person
from accounts.roles import Action
from service.importing.columns import ALL, KINDS
from service.importing.delimited import DELIMITERS
from service.importing.encoding import ENCODINGS
from service.importing.export import FORMS, list_file
from service.importing.forms import ReadAgainForm, RowFilter, UploadForm
from service.importing.models import Effect, ListImport, ListRow, ListState
from service.importing.take_back import take_back, undoing_of
from service.importing.upload import KEPT_FOR, drop_list, drop_stale, read_again, upload_list
from service.importing.visible import visible_lists
from service.importing.write import confirm_list
from service.shell.days import today_at
from service.sites.forms import done_or_told
from service.sites.listing import ROWS_PER_PAGE

LISTS_PER_PAGE = 20


@page_for(Action.IMPORT_LISTS)
@require_http_methods(["GET", "HEAD", "POST"])
def lists(request: HttpRequest) -> HttpResponse:
    """Upload a list; what was imported before; what can be taken along."""
    person = signed_in(request)
    form = UploadForm(request.POST, request.FILES) if request.method == "POST" else UploadForm()
    if form.is_valid() and (made := done_or_told(form, lambda: _uploaded(form, person))):
        drop_stale()
        return redirect("importing:list", pk=made.pk)
    found = visible_lists(person).select_related("uploaded_by")
    context = {
        "form": form,
        "page": Paginator(found, LISTS_PER_PAGE).get_page(request.GET.get("page")),
        "kinds": KINDS.values(),
    }
    return render(request, "importing/lists.html", context)


def _uploaded(form: UploadForm, by: Person) -> ListImport:
    file = form.cleaned_data["upload"]
    return upload_list(kind=form.cleaned_data["kind"], file_name=file.name, data=file.read(), by=by)


@page_for(Action.IMPORT_LISTS)
@require_safe
def columns(request: HttpRequest) -> HttpResponse:
    """Every column of every list: what it means, what it takes, an example."""
    return render(
        request, "importing/columns.html", {"kinds": KINDS.values(), "encodings": ENCODINGS.values()}
    )


@page_for(Action.IMPORT_LISTS)
@require_safe
def template(request: HttpRequest, kind: str, form: str) -> FileResponse:
    """A list with its first line and no rows."""
    return _file(kind, form, None, f"{_checked(kind, form)}-template.{form}")


@page_for(Action.IMPORT_LISTS)
@require_safe
@never_cache
def export(request: HttpRequest, kind: str, form: str) -> FileResponse:
    """A list of what is there today."""
    person = signed_in(request)
    name = f"{_checked(kind, form)}-{today_at(person.organisation)}.{form}"
    return _file(kind, form, person, name)


def _checked(kind: str, form: str) -> str:
    """The list's name in a file name. Raises Http404 for a list or a form that there is not."""
    if form not in FORMS or (kind == ALL and form != "xlsx") or (kind != ALL and kind not in KINDS):
        raise Http404
    return "lists" if kind == ALL else KINDS[kind].title.lower().replace(" ", "-")


def _file(kind: str, form: str, by: Person | None, name: str) -> FileResponse:
    file = list_file(kind, form, by)
    return FileResponse(file, as_attachment=True, filename=name, content_type=FORMS[form])


def _list(request: HttpRequest, pk: UUID) -> ListImport:
    rows = visible_lists(signed_in(request)).select_related("uploaded_by", "run__asked_by")
    return get_object_or_404(rows, pk=pk)


@page_for(Action.IMPORT_LISTS)
@require_safe
@never_cache
def listing(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What a list would do, or did, row by row; and what can be done with it now."""
    return _shown(request, _list(request, pk))


def _shown(request: HttpRequest, row: ListImport, refused: str = "") -> HttpResponse:
    given = RowFilter(request.GET)
    show = given.cleaned_data["show"] if given.is_valid() else ""
    rows = ListRow.objects.filter(listing=row, **({"effect": show} if show else {})).defer("payload")
    live = bool(row.run and row.run.is_live)
    stopped = _came_to_nothing(row) or (row.state == ListState.READING and not live)
    context: dict[str, Any] = {
        "list": row,
        "refused": refused,
        "run": row.run if live or stopped else None,
        "waits": row.state in (ListState.READY, ListState.UNREADABLE) or stopped,
        "unwritten": _came_to_nothing(row),
        "may_confirm": not row.problem and (row.state == ListState.READY or _came_to_nothing(row)),
        "totals": [(KINDS[key], kind) for key, kind in row.totals.items()],
        "left_out": [(KINDS[key], names) for key, names in row.left_out.items()],
        "wrong": row.count(Effect.WRONG),
        "written": row.count(Effect.NEW) + row.count(Effect.CHANGED),
        "filter": given,
        "show": show,
        "page": Paginator(rows.order_by("order"), ROWS_PER_PAGE).get_page(request.GET.get("page")),
        "several": len(row.totals) > 1,
        "titles": {key: kind.title for key, kind in KINDS.items()},
        "read_form": _read_form(row),
        "encoding": ENCODINGS.get(row.encoding, ""),
        "delimiter": DELIMITERS.get(row.delimiter, ""),
        "kept_until": row.uploaded_at + KEPT_FOR,
        "now": timezone.now(),
    }
    return render(request, "importing/list.html", context, status=200)


def _came_to_nothing(row: ListImport) -> bool:
    """Whether it was to be written and its run ended without: then nothing of it is there."""
    return row.state == ListState.WRITING and not (row.run and row.run.is_live)


def _read_form(row: ListImport) -> ReadAgainForm:
    values = {"kind": row.kind, "encoding": row.encoding, "delimiter": row.delimiter}
    return ReadAgainForm(text=bool(row.encoding), initial=values)


@page_for(Action.IMPORT_LISTS)
@require_POST
def again(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = _list(request, pk)
    form = ReadAgainForm(request.POST, text=bool(row.encoding))
    if not form.is_valid():
        return _shown(request, row, "Choose what the list holds and how it is read.")
    chosen = {"encoding": "", "delimiter": "", **form.cleaned_data}
    try:
        read_again(listing=row, by=signed_in(request), **chosen)
    except ValidationError as refused:
        return _shown(request, row, " ".join(refused.messages))
    return redirect("importing:list", pk=row.pk)


@page_for(Action.IMPORT_LISTS)
@require_POST
def confirm(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = _list(request, pk)
    only_good = request.POST.get("only_good") == "yes"
    try:
        confirm_list(listing=row, only_good=only_good, by=signed_in(request))
    except ValidationError as refused:
        return _shown(request, row, " ".join(refused.messages))
    return redirect("importing:list", pk=row.pk)


@page_for(Action.IMPORT_LISTS)
@require_POST
def drop(request: HttpRequest, pk: UUID) -> HttpResponse:
    row = _list(request, pk)
    try:
        drop_list(listing=row, by=signed_in(request))
    except ValidationError as refused:
        return _shown(request, row, " ".join(refused.messages))
    messages.success(request, f"{row} is dropped. Nothing was changed.")
    return redirect("importing:lists")


@page_for(Action.IMPORT_LISTS)
@require_http_methods(["GET", "HEAD", "POST"])
def back(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What taking a list back would do, or what stands in its way; and doing it."""
    row = _list(request, pk)
    if row.state != ListState.DONE:
        return redirect("importing:list", pk=row.pk)
    if request.method == "POST":
        try:
            take_back(listing=row, by=signed_in(request))
        except ValidationError:
            messages.error(request, "It cannot be taken back: see what depends on it.")
            return redirect("importing:take_back", pk=row.pk)
        messages.success(request, f"{row} is taken back.")
        return redirect("importing:list", pk=row.pk)
    return render(request, "importing/take_back.html", {"list": row, "undoing": undoing_of(row)})
