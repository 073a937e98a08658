"""Files attached to lots, customers and orders: the same service and permissions as the pages."""

from typing import Any

from django.core.exceptions import PermissionDenied
from django.db.models import QuerySet
from django.http import Http404
from django.shortcuts import get_object_or_404
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema
from rest_framework import parsers, serializers, status
from rest_framework.response import Response
from rest_framework.reverse import reverse

from apiary_sales.api import filters
from apiary_sales.api.answers import RowSerializer
from apiary_sales.api.bases import ApiView, ListApiView
from apiary_sales.api.bottling import NothingSerializer
from apiary_sales.api.lists import ordered_by
from apiary_sales.api.lots import OF_PRODUCT, lot_of
from apiary_sales.api.serializers import StrictCharField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from inventory.shared import attachable
from inventory.shared.attachable import Attachable
from inventory.shared.file_contents import IMAGES
from inventory.shared.file_views import found_for, response_of
from inventory.shared.forms.fields import FileField
from inventory.shared.models import Attachment
from inventory.shared.people import person_of
from inventory.shared.queries import files as queries
from inventory.shared.services import files

FILE_MEDIA_TYPES = ("application/pdf", *IMAGES.values(), "text/csv", "text/plain")
# The library's own name for a file without one is "no_name".
FILE_MESSAGES = {
    **FileField.default_error_messages,
    "no_name": FileField.default_error_messages["missing"],
}


class AttachmentSerializer(RowSerializer):
    url = serializers.SerializerMethodField()
    added_by = serializers.CharField(source="added_by.display_name")

    class Meta:
        model = Attachment
        fields = [
            "id",
            "url",
            "name",
            "kind",
            "media_type",
            "size_bytes",
            "sha256",
            "note",
            "added_at",
            "added_by",
        ]

    def get_url(self, attachment: Attachment) -> str:
        return reverse("api:file", args=[attachment.pk], request=self.context.get("request"))


class FileToAttachSerializer(serializers.Serializer):
    """A file as a part of a form (multipart/form-data)."""

    # An empty file is refused where the others are, in the same words.
    file = serializers.FileField(allow_empty_file=True, error_messages=FILE_MESSAGES)
    kind = serializers.ChoiceField(Attachment.Kind.choices)
    note = StrictCharField(required=False, allow_blank=True, max_length=200)


class FilesView(ApiActView, ListApiView):
    """The files of one thing, whose app has registered it as `name`."""

    serializer_class = FileToAttachSerializer
    row_serializer_class = AttachmentSerializer
    filterset_class = filters.AttachmentListFilters
    ordering_fields = ordered_by("id", "added_at", "name")
    queryset = Attachment.objects.none()
    who_may = "For who may see what the files belong to; to attach one, for who may change it."
    parser_classes = [parsers.MultiPartParser]
    name: str

    @property
    def registered(self) -> Attachable:
        found = attachable.by_name(self.name)
        assert found is not None
        return found

    def thing(self) -> Any:
        return get_object_or_404(self.registered.model_class, **self.kwargs)

    @extend_schema(responses=AttachmentSerializer(many=True))
    def get(self, request, **kwargs):
        """List the files."""
        if not self.registered.may_see(request.user):
            raise PermissionDenied
        return self.list(request)

    def get_queryset(self) -> QuerySet[Attachment]:
        there = Attachment.objects.of(self.thing()).filter(removed_at=None)
        return there.select_related("added_by").order_by("id")

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request={"multipart/form-data": FileToAttachSerializer},
        responses={201: AttachmentSerializer, **REFUSALS},
    )
    def post(self, request, **kwargs):
        """Attach a file: PDF, JPEG, PNG, WebP, CSV or plain text, up to 10 MB."""
        if not self.registered.may_add(request.user):
            raise PermissionDenied
        thing = self.thing()
        key = self.key()
        attachment = files.attach(
            thing=thing, **self.checked(), added_by=person_of(request), key=key
        )
        made = AttachmentSerializer(attachment, context={"request": request})
        return Response(made.data, status=status.HTTP_201_CREATED)


@extend_schema(parameters=[OF_PRODUCT])
class LotFilesView(FilesView):
    name = "lot"

    def thing(self) -> Any:
        return lot_of(self.request, self.kwargs["code"])


class CustomerFilesView(FilesView):
    name = "customer"


class OrderFilesView(FilesView):
    name = "order"


class FileView(ApiView):
    who_may = "For who may see what the file belongs to."
    permission_classes = [ViewPermission]

    @extend_schema(
        responses={(200, media_type): OpenApiTypes.BINARY for media_type in FILE_MEDIA_TYPES}
    )
    def get(self, request, pk: int):
        """Hand out one file, in its own media type."""
        attachment = found_for(request.user, pk)
        try:
            return response_of(attachment)
        except FileNotFoundError:
            raise Http404 from None


class FileRemoveApiView(ApiActView):
    """Whoever may attach files to the thing may remove them."""

    who_may = "For who may attach files to what it belongs to."
    serializer_class = NothingSerializer

    @extend_schema(request=None, responses={200: AttachmentSerializer, **REFUSALS})
    def post(self, request, pk: int):
        """Remove a file; it is kept, and no longer shown. A second time is refused."""
        attachment = queries.find(pk)
        if attachment is None:
            raise Http404
        if not attachable.of_attachment(attachment).may_add(request.user):
            raise PermissionDenied
        made = files.remove(attachment=attachment, removed_by=person_of(request))
        return Response(AttachmentSerializer(made, context={"request": request}).data)
