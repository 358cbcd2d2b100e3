"""Addresses below the API that do not exist answer like everything else there."""

from typing import NoReturn

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request

from service.api.view import ApiView


@extend_schema(exclude=True)
class Nowhere(ApiView):
    def get(self, request: Request, rest: str) -> NoReturn:
        raise Http404

    post = patch = get
