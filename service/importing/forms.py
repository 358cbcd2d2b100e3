"""What people choose about a list: which one, what it holds, how its text is to be read."""

from typing import Any

from django import forms

from service.importing.columns import ALL, FILE_MAX_BYTES, KINDS, ROWS_MAX
from service.importing.delimited import DELIMITERS
from service.importing.encoding import ENCODINGS
from service.importing.models import Effect

KIND_CHOICES = [
    *((kind.key, kind.title) for kind in KINDS.values()),
    (ALL, "A workbook with a sheet for each"),
]


class UploadForm(forms.Form):
    kind = forms.ChoiceField(
        label="What the list holds",
        choices=KIND_CHOICES,
        error_messages={"required": "Choose what it holds."},
    )
    upload = forms.FileField(
        label="File",
        help_text=(
            f"CSV or XLSX, at most {FILE_MAX_BYTES // 1024**2} MB and {ROWS_MAX:,} rows. "
            "Nothing is changed before you have seen what it would do."
        ),
        widget=forms.FileInput(attrs={"accept": ".csv,.txt,.tsv,.xlsx"}),
        error_messages={"required": "Choose a file.", "empty": "The file is empty."},
    )


class ReadAgainForm(forms.Form):
    """How a list is read; encoding and delimiter only for text."""

    kind = forms.ChoiceField(label="What the list holds", choices=KIND_CHOICES)
    encoding = forms.ChoiceField(label="Encoding", choices=list(ENCODINGS.items()))
    delimiter = forms.ChoiceField(label="Between the cells", choices=list(DELIMITERS.items()))

    def __init__(self, *args: Any, text: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not text:
            del self.fields["encoding"], self.fields["delimiter"]


class RowFilter(forms.Form):
    show = forms.ChoiceField(
        label="Rows", required=False, choices=[("", "All rows"), *((one.value, one.label) for one in Effect)]
    )
