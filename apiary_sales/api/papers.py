"""Papers of the honey house through the API, as PDF: certificates and labels."""

from django.urls import reverse
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.renderers import JSONRenderer

from apiary_sales.api.bases import ApiView
from apiary_sales.api.lots import in_bulk
from apiary_sales.api.serializers import ProblemSerializer
from apiary_sales.api.views import ViewPermission
from inventory.bottling import papers as bottling_papers
from inventory.bottling.forms_labels import LabelPrintForm
from inventory.bottling.queries import jar_pages
from inventory.bottling.queries import labels as label_queries
from inventory.bottling.views import labels
from inventory.bottling.views.runs import run_of
from inventory.shared import documents
from inventory.shared.models import House
from inventory.stock import papers as stock_papers
from inventory.stock.models import Place
from inventory.stock.queries import drum_labels

PDF = {
    (200, "application/pdf"): OpenApiTypes.BINARY,
    (400, "application/problem+json"): ProblemSerializer,
    (503, "application/problem+json"): ProblemSerializer,
}
LABEL_CHOICES = [
    OpenApiParameter("sheet", str, description="The short name of a layout."),
    OpenApiParameter("pieces", int, description="How many labels."),
    OpenApiParameter("spare", int, description="Labels more, for those that get spoiled."),
    OpenApiParameter("first", int, description="The first free position on a sheet begun."),
    OpenApiParameter("code", str, description="Which code to print, as on the page."),
    OpenApiParameter("qr_text", str, description="What a QR code says."),
    OpenApiParameter("panel", str, description="`label`, or `round` for a round jar."),
    OpenApiParameter("panel_height_0", str, description="Height of a round jar."),
    OpenApiParameter("panel_height_1", str, description="Its unit, such as `mm` or `in`."),
    OpenApiParameter("panel_around_0", str, description="The way around a round jar."),
    OpenApiParameter("panel_around_1", str, description="Its unit, such as `mm` or `in`."),
]


class PdfRenderer(JSONRenderer):
    """Lets a client ask for a PDF alone; a refusal is written as JSON all the same."""

    media_type = "application/pdf"
    format = "pdf"


class PaperApiView(ApiView):
    permission_classes = [ViewPermission]
    renderer_classes = [JSONRenderer, PdfRenderer]


class LotCertificateApiView(PaperApiView):
    @extend_schema(operation_id="lot_certificate", responses=PDF)
    def get(self, request, code: str):
        """The certificate of a lot of honey in bulk."""
        lot = in_bulk(code)
        content = documents.render_pdf(
            stock_papers.CERTIFICATE, stock_papers.certificate_context(lot)
        )
        return documents.pdf_response(f"lot-{lot.code}.pdf", content)


class RunLabelsApiView(PaperApiView):
    permission_required = "inventory.run_bottling"

    @extend_schema(operation_id="run_labels", parameters=LABEL_CHOICES, responses=PDF)
    def get(self, request, number: str):
        """The labels of a run, chosen as on its page; without a choice, one for each piece."""
        run = run_of(number)
        page_url = jar_pages.address_for_run(run, request)
        facts = label_queries.facts_of(run)
        first_choice = labels.first_choice(run, facts)
        form = LabelPrintForm(request.query_params or first_choice, page_url=page_url)
        printed = labels.prepared(facts, form)
        if printed is None:
            raise ValidationError(
                {name: [str(text) for text in found] for name, found in form.errors.items()}
                or [_("This run has no lot code yet.")]
            )
        content = bottling_papers.label_pages(printed)
        return documents.pdf_response(f"labels-{run.number}.pdf", content)


class DrumLabelsApiView(PaperApiView):
    permission_required = "inventory.move_honey"

    @extend_schema(
        operation_id="drum_labels",
        parameters=[
            OpenApiParameter(
                "drum", str, many=True, description="A drum's code; all with honey when left out."
            )
        ],
        responses={**PDF, (404, "application/problem+json"): ProblemSerializer},
    )
    def get(self, request):
        """The labels of drums."""

        def address_of(place: Place) -> str:
            return request.build_absolute_uri(reverse("inventory:place_detail", args=[place.code]))

        made = drum_labels.labels(request.query_params.getlist("drum"), address_of=address_of)
        if not made:
            raise NotFound(_("There is no such drum with honey in it."))
        context = {
            "labels": made,
            "page_size": documents.PAGE_SIZES[House.Paper(House.current().paper)],
        }
        content = documents.render_pages("documents/drum_labels.html", context)
        return documents.pdf_response("drum-labels.pdf", content)
