"""The house through the API: its details, its logo, how it works, and its set-up."""

from typing import Any, ClassVar

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import parsers, serializers, status
from rest_framework.exceptions import NotFound
from rest_framework.request import Request
from rest_framework.response import Response

from apiary_sales.accounts.access import MANAGE_PEOPLE
from apiary_sales.accounts.models import SetUp
from apiary_sales.accounts.services import set_up
from apiary_sales.api.bases import ApiView
from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.fields import StrictModelSerializer
from apiary_sales.api.files import FILE_MESSAGES
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView
from apiary_sales.billing.forms.money import HouseDetailsForm
from inventory.bottling.models import JarPage
from inventory.bottling.services import jar_page
from inventory.shared import logo_files
from inventory.shared.models import House
from inventory.shared.queries import house as house_logo
from inventory.shared.services import house
from inventory.stock.models import ProductionSettings
from inventory.stock.services import production

ISSUE = "billing.issue_invoices"
MANAGE_PARTS = "inventory.manage_parts"


class HouseDetailsSerializer(StrictModelSerializer):
    """What papers say of the house, and how it handles tax, quotes and drums.

    Fields left out do not change.
    """

    class Meta:
        model = House
        fields = HouseDetailsForm.Meta.fields
        extra_kwargs: ClassVar[dict[str, Any]] = {"name": {"required": False}}


class HouseApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = HouseDetailsSerializer

    @extend_schema(responses=HouseDetailsSerializer)
    def get(self, request: Request) -> Response:
        """Show the details of the house."""
        return Response(HouseDetailsSerializer(House.current()).data)

    @extend_schema(responses={200: HouseDetailsSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Change details of the house; bills that are issued keep those of their day."""
        return Response(HouseDetailsSerializer(house.change(**self.checked())).data)


class LogoToSetSerializer(serializers.Serializer):
    """A picture as a part of a form (multipart/form-data)."""

    # An empty file is refused where the others are, in the same words.
    file = serializers.FileField(allow_empty_file=True, error_messages=FILE_MESSAGES)


class LogoApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = LogoToSetSerializer
    parser_classes = [parsers.MultiPartParser]

    @extend_schema(
        operation_id="house_logo",
        responses={
            (200, "image/png"): OpenApiTypes.BINARY,
            (200, "image/jpeg"): OpenApiTypes.BINARY,
            204: None,
        },
    )
    def get(self, request: Request) -> Response | HttpResponse:
        """Hand out the logo; 204 where there is none."""
        content = house_logo.read(House.current())
        if not content:
            return Response(status=status.HTTP_204_NO_CONTENT)
        headers = {"X-Content-Type-Options": "nosniff", "Cache-Control": "private, no-store"}
        return HttpResponse(content, content_type=logo_files.media_type(content), headers=headers)

    @extend_schema(
        request={"multipart/form-data": LogoToSetSerializer}, responses={204: None, **REFUSALS}
    )
    def post(self, request: Request) -> Response:
        """Print this picture on every paper from now on."""
        house.set_logo(**self.checked())
        return Response(status=status.HTTP_204_NO_CONTENT)


class LogoRemoveApiView(ApiActView):
    permission_required = ISSUE
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={204: None, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Print no logo from now on."""
        house.remove_logo()
        return Response(status=status.HTTP_204_NO_CONTENT)


class ProductionSettingsSerializer(StrictModelSerializer):
    """How the honey house works; what is left out takes its usual value or stays.

    Moisture, the share of a named source, the limit of warming and the mark of the dip stick stay.
    """

    class Meta:
        model = ProductionSettings
        fields = [
            "labour_cents_per_hour",
            "honey_house_celsius",
            "cost_method",
            "lot_code_pattern",
            "setting_days",
            "moisture_limit_percent",
            "named_source_percent",
            "warming_limit_celsius",
            "stick_mark_mm",
        ]
        extra_kwargs: ClassVar[dict[str, Any]] = {
            "labour_cents_per_hour": {"required": True},
            "honey_house_celsius": {"required": True},
            "cost_method": {"required": True},
        }


class ProductionSettingsApiView(ApiActView):
    permission_required = MANAGE_PARTS
    serializer_class = ProductionSettingsSerializer

    @extend_schema(responses=ProductionSettingsSerializer)
    def get(self, request: Request) -> Response:
        """Show how the honey house works."""
        return Response(ProductionSettingsSerializer(ProductionSettings.current()).data)

    @extend_schema(responses={200: ProductionSettingsSerializer, **REFUSALS})
    def put(self, request: Request) -> Response:
        """Set how the honey house works; runs recorded before keep the figures of their day."""
        made = production.change(**self.checked())
        return Response(ProductionSettingsSerializer(made).data)


class JarPageSerializer(StrictModelSerializer):
    """Whether jars have a page that everybody can read, and what it shows."""

    class Meta:
        model = JarPage
        fields = [
            "is_on",
            "shows_floral_source",
            "region",
            "dates",
            "shows_colour",
            "shows_moisture",
            "shows_phone",
            "shows_email",
            "note",
            "hold_sentence",
        ]
        extra_kwargs: ClassVar[dict[str, Any]] = {name: {"required": True} for name in fields}


class JarPageApiView(ApiActView):
    permission_required = "inventory.manage_jar_page"
    serializer_class = JarPageSerializer

    @extend_schema(responses=JarPageSerializer)
    def get(self, request: Request) -> Response:
        """Show what the public page of a jar shows."""
        return Response(JarPageSerializer(JarPage.current()).data)

    @extend_schema(responses={200: JarPageSerializer, **REFUSALS})
    def put(self, request: Request) -> Response:
        """Set what the public page of a jar shows."""
        return Response(JarPageSerializer(jar_page.change(**self.checked())).data)


class SetUpSerializer(serializers.ModelSerializer):
    """How far the house is set up: which steps were saved, and which are left for later."""

    steps = serializers.SerializerMethodField(help_text="The names of all steps, in order.")
    steps_done = serializers.ListField(child=serializers.CharField())
    steps_left = serializers.ListField(child=serializers.CharField())

    class Meta:
        model = SetUp
        fields = ["begins_on", "ended_at", "steps", "steps_done", "steps_left"]

    def get_steps(self, row: SetUp) -> list[str]:
        return list(set_up.STEPS)


class SetUpApiView(ApiView):
    permission_required = MANAGE_PEOPLE

    @extend_schema(responses=SetUpSerializer)
    def get(self, request: Request) -> Response:
        """Show how far the house is set up."""
        return Response(SetUpSerializer(SetUp.current()).data)


class BooksBeginSerializer(serializers.Serializer):
    """The day of all that is entered as there when the books begin."""

    begins_on = serializers.DateField()


class BooksBeginApiView(ApiActView):
    permission_required = MANAGE_PEOPLE
    serializer_class = BooksBeginSerializer

    @extend_schema(responses={200: SetUpSerializer, **REFUSALS})
    def put(self, request: Request) -> Response:
        """Set the day on which the books begin."""
        return Response(SetUpSerializer(set_up.begin_books_on(**self.checked())).data)


class SetUpStepApiView(ApiActView):
    """An act on one step, by its name in the list of steps."""

    permission_required = MANAGE_PEOPLE
    serializer_class = NothingSerializer

    def step(self) -> str:
        step: str = self.kwargs["step"]
        if step not in set_up.STEPS:
            raise NotFound
        return step


class SetUpSaveApiView(SetUpStepApiView):
    @extend_schema(
        request=None, parameters=[IDEMPOTENCY_KEY], responses={200: SetUpSerializer, **REFUSALS}
    )
    def post(self, request: Request, step: str) -> Response:
        """Say that what a step asks for is entered."""
        return Response(SetUpSerializer(set_up.save_step(self.step(), key=self.key())).data)


class SetUpLeaveApiView(SetUpStepApiView):
    @extend_schema(request=None, responses={200: SetUpSerializer, **REFUSALS})
    def post(self, request: Request, step: str) -> Response:
        """Leave a step for later; one that was saved stays so."""
        return Response(SetUpSerializer(set_up.leave_step(self.step())).data)


class SetUpEndApiView(ApiActView):
    permission_required = MANAGE_PEOPLE
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: SetUpSerializer, **REFUSALS})
    def post(self, request: Request) -> Response:
        """Say that the house is set up."""
        return Response(SetUpSerializer(set_up.end()).data)
