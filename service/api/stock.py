"""Products, their batches, and the instruments that test the water."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any, ClassVar
from uuid import UUID

from django.shortcuts import get_object_or_404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from accounts.models import Person
from accounts.roles import Action
from service.api.archiving import UseCase, archiving
from service.api.asking import InUse, named, of_state, only
from service.api.changes import changed_since
from service.api.once import once
from service.api.strict import ChangedQuery, Given, Shown
from service.api.view import ApiView
from service.chemistry.readings import PARAMETERS
from service.stock.models import Batch, Instrument, Product
from service.stock.register import (
    add_batch,
    add_instrument,
    add_product,
    archive,
    change_batch,
    change_instrument,
    change_product,
    restore,
)

SEE = (Action.SEE_FIRM,)
EDIT = (Action.EDIT_STOCK,)
STOCK: tuple[UseCase, UseCase] = (
    lambda row, by: archive(row=row, by=by),
    lambda row, by: restore(row=row, by=by),
)


def _in_firm(model: Any) -> Callable[[Person, UUID], Any]:
    """Finds a row of the firm in scope; everybody who may archive sees all of them."""
    return lambda _, pk: get_object_or_404(model, pk=pk)


class StockQuery(ChangedQuery):
    state = InUse()


class ProductShown(Shown):
    class Meta:
        model = Product
        fields = (
            "id", "name", "substance", "active_fraction", "form", "density_g_ml", "unit_mass_g",
            "label_wait_minutes", "label_max_g_per_m3", "archived_at",
        )  # fmt: skip
        read_only_fields = fields


class ProductGiven(Given, serializers.ModelSerializer[Product]):
    """The limits are the model's, written as decimals: a binary fraction is no limit for one."""

    active_fraction = serializers.DecimalField(
        max_digits=6, decimal_places=5, min_value=Decimal("0.00001"), max_value=1
    )
    density_g_ml = serializers.DecimalField(
        max_digits=5, decimal_places=3, min_value=Decimal("0.2"), max_value=3, required=False, allow_null=True
    )
    unit_mass_g = serializers.DecimalField(
        max_digits=6,
        decimal_places=1,
        min_value=Decimal("0.1"),
        max_value=2000,
        required=False,
        allow_null=True,
    )
    label_max_g_per_m3 = serializers.DecimalField(
        max_digits=8, decimal_places=2, min_value=Decimal("0.01"), required=False, allow_null=True
    )

    class Meta:
        model = Product
        fields = (
            "name", "substance", "active_fraction", "form", "density_g_ml", "unit_mass_g",
            "label_wait_minutes", "label_max_g_per_m3",
        )  # fmt: skip


class Products(ApiView):
    actions: ClassVar = {"GET": SEE, "POST": EDIT}
    query = StockQuery

    @extend_schema(operation_id="list_products", parameters=[StockQuery], responses=ProductShown(many=True))
    def get(self, request: Request) -> Response:
        rows = Product.objects.filter(of_state(self.asked, "archived_at"))
        return self.page(changed_since(rows, self.asked.get("changed_since")), ProductShown)

    @extend_schema(operation_id="add_product", request=ProductGiven, responses={201: ProductShown})
    @once
    def post(self, request: Request) -> Response:
        product = add_product(by=self.person, **self.body(ProductGiven))
        return self.made(ProductShown, product, "api:product")


class OneProduct(ApiView):
    actions: ClassVar = {"GET": SEE, "PATCH": EDIT}

    @extend_schema(operation_id="read_product", responses=ProductShown)
    def get(self, request: Request, pk: UUID) -> Response:
        return Response(self.shown(ProductShown, get_object_or_404(Product, pk=pk)))

    @extend_schema(operation_id="change_product", request=ProductGiven, responses=ProductShown)
    @once
    def patch(self, request: Request, pk: UUID) -> Response:
        product, given = get_object_or_404(Product, pk=pk), self.body(ProductGiven, partial=True)
        return Response(self.shown(ProductShown, change_product(product=product, by=self.person, **given)))


class BatchShown(Shown):
    product = serializers.UUIDField(source="product_id", read_only=True)

    class Meta:
        model = Batch
        fields = ("id", "product", "code", "expires_on", "archived_at")
        read_only_fields = fields


class BatchGiven(Given, serializers.ModelSerializer[Batch]):
    class Meta:
        model = Batch
        fields: ClassVar[tuple[str, ...]] = ("code", "expires_on")


class NewBatch(BatchGiven):
    product = serializers.UUIDField()

    class Meta(BatchGiven.Meta):
        fields = ("product", *BatchGiven.Meta.fields)


class BatchQuery(StockQuery):
    product = serializers.UUIDField(required=False, help_text="Only batches of this product.")


class Batches(ApiView):
    actions: ClassVar = {"GET": SEE, "POST": EDIT}
    query = BatchQuery

    @extend_schema(operation_id="list_batches", parameters=[BatchQuery], responses=BatchShown(many=True))
    def get(self, request: Request) -> Response:
        rows = Batch.objects.filter(
            of_state(self.asked, "archived_at"), **only(self.asked, product="product")
        )
        return self.page(changed_since(rows, self.asked.get("changed_since")), BatchShown)

    @extend_schema(operation_id="add_batch", request=NewBatch, responses={201: BatchShown})
    @once
    def post(self, request: Request) -> Response:
        given = self.body(NewBatch)
        product = named(Product.objects.all(), "product", given.pop("product"))
        batch = add_batch(product=product, by=self.person, **given)
        return self.made(BatchShown, batch, "api:batch")


class OneBatch(ApiView):
    actions: ClassVar = {"GET": SEE, "PATCH": EDIT}

    @extend_schema(operation_id="read_batch", responses=BatchShown)
    def get(self, request: Request, pk: UUID) -> Response:
        return Response(self.shown(BatchShown, get_object_or_404(Batch, pk=pk)))

    @extend_schema(operation_id="change_batch", request=BatchGiven, responses=BatchShown)
    @once
    def patch(self, request: Request, pk: UUID) -> Response:
        batch, given = get_object_or_404(Batch, pk=pk), self.body(BatchGiven, partial=True)
        return Response(self.shown(BatchShown, change_batch(batch=batch, by=self.person, **given)))


class InstrumentShown(Shown):
    plus_minus = serializers.DictField(child=serializers.CharField(), read_only=True)

    class Meta:
        model = Instrument
        fields = (
            "id", "name", "method", "serial", "checked_on", "check_due_on", "reagent_lot",
            "reagent_expires_on", "plus_minus", "archived_at",
        )  # fmt: skip
        read_only_fields = fields


class InstrumentGiven(Given, serializers.ModelSerializer[Instrument]):
    plus_minus = serializers.DictField(
        child=serializers.DecimalField(max_digits=8, decimal_places=3, min_value=0),
        required=False,
        help_text="The instrument's own ± by parameter, in the parameter's unit.",
    )

    class Meta:
        model = Instrument
        fields = (
            "name", "method", "serial", "checked_on", "check_due_on", "reagent_lot", "reagent_expires_on",
            "plus_minus",
        )  # fmt: skip

    def validate_plus_minus(self, given: dict[str, Any]) -> dict[str, str]:
        if unknown := sorted(set(given) - set(PARAMETERS)):
            names = ", ".join(name[:60] for name in unknown[:5])
            raise serializers.ValidationError(f"There is no such parameter: {names}.")
        return {name: str(value) for name, value in given.items()}


class Instruments(ApiView):
    actions: ClassVar = {"GET": SEE, "POST": EDIT}
    query = StockQuery

    @extend_schema(
        operation_id="list_instruments", parameters=[StockQuery], responses=InstrumentShown(many=True)
    )
    def get(self, request: Request) -> Response:
        rows = Instrument.objects.filter(of_state(self.asked, "archived_at"))
        return self.page(changed_since(rows, self.asked.get("changed_since")), InstrumentShown)

    @extend_schema(operation_id="add_instrument", request=InstrumentGiven, responses={201: InstrumentShown})
    @once
    def post(self, request: Request) -> Response:
        instrument = add_instrument(by=self.person, **self.body(InstrumentGiven))
        return self.made(InstrumentShown, instrument, "api:instrument")


class OneInstrument(ApiView):
    actions: ClassVar = {"GET": SEE, "PATCH": EDIT}

    @extend_schema(operation_id="read_instrument", responses=InstrumentShown)
    def get(self, request: Request, pk: UUID) -> Response:
        return Response(self.shown(InstrumentShown, get_object_or_404(Instrument, pk=pk)))

    @extend_schema(operation_id="change_instrument", request=InstrumentGiven, responses=InstrumentShown)
    @once
    def patch(self, request: Request, pk: UUID) -> Response:
        instrument, given = get_object_or_404(Instrument, pk=pk), self.body(InstrumentGiven, partial=True)
        changed = change_instrument(instrument=instrument, by=self.person, **given)
        return Response(self.shown(InstrumentShown, changed))


ArchiveProduct, RestoreProduct = archiving(
    "product", ProductShown, _in_firm(Product), use_cases=STOCK, actions=EDIT
)
ArchiveBatch, RestoreBatch = archiving("batch", BatchShown, _in_firm(Batch), use_cases=STOCK, actions=EDIT)
ArchiveInstrument, RestoreInstrument = archiving(
    "instrument", InstrumentShown, _in_firm(Instrument), use_cases=STOCK, actions=EDIT
)
