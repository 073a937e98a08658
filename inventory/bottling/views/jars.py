"""Pages of jars that become something else: labelled, emptied, come back, in gift boxes."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import permission_required
from django.db.models import Model
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.decorators import method_decorator
from django.utils.functional import cached_property
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST, require_safe
from django.views.decorators.vary import vary_on_headers

from inventory.bottling import forms_jars as forms
from inventory.bottling.models import JarChange, Product, ReturnedJars
from inventory.bottling.queries import jars as queries
from inventory.bottling.services import gift_boxes, jars, products, returned_jars
from inventory.bottling.services.gift_boxes import BoxLine
from inventory.bottling.services.products import PartUse
from inventory.shared import words
from inventory.shared.errors import HouseError
from inventory.shared.htmx import HtmxRequest
from inventory.shared.people import person_of
from inventory.shared.views import ActView
from inventory.stock.models import Balance, Lot, Posting

RUN_BOTTLING = "inventory.run_bottling"
MANAGE_PARTS = "inventory.manage_parts"


def lot_of(code: str, product: str) -> Lot:
    """Return the lot of pieces with this code and product."""
    found = Lot.objects.filter(product__isnull=False).select_related(
        "product__item", "product__size", "product__variety"
    )
    return get_object_or_404(found.bearing(code, product))


def jar_list(request: HttpRequest) -> HttpResponse:
    """Jars that wait for a label, jars that came back, and the gift boxes."""
    context = {
        "unlabelled": queries.unlabelled_in_stock(),
        "returned": queries.returned_to_decide(person_of(request)),
        "boxes": queries.boxes(),
    }
    return render(request, "inventory/bottling/jar_list.html", context)


@require_safe
@vary_on_headers("HX-Request")
def lot_jars(request: HtmxRequest, code: str, product: str) -> HttpResponse:
    """What can be done with a lot's pieces: a part of its page, or a page without script."""
    name = "_lot_jars.html" if request.htmx else "lot_jars.html"
    context = {"jars": queries.jars_of(lot_of(code, product))}
    return render(request, f"inventory/bottling/{name}", context)


@method_decorator(vary_on_headers("HX-Request"), name="dispatch")
class JarActView(ActView):
    """An act with jars; `preview` says what it would change, while the form is filled in.

    Where there is no script a button shows it; neither records anything.
    """

    permission_required = RUN_BOTTLING
    preview_template_name = "inventory/bottling/_jar_preview.html"

    def preview(self, data: dict[str, Any]) -> Any:
        return None

    def get_initial(self) -> dict[str, Any]:
        place = self.request.GET.get("place")
        return super().get_initial() | ({"place": place} if place else {})

    def get(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
        if request.htmx and "key" in request.GET:
            form = self.get_form_class()(**{**self.get_form_kwargs(), "data": request.GET})
            return render(request, self.preview_template_name, self._previewed(form))
        return super().get(request, *args, **kwargs)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if "preview" in request.POST:
            form = self.get_form()
            context = self.get_context_data(form=form, **self._previewed(form))
            return self.render_to_response(context)
        return super().post(request, *args, **kwargs)

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(preview_template=self.preview_template_name, **kwargs)

    def posting_to_undo(self, made: Any) -> Posting | None:
        return made.posting

    def repeat_url(self, made: Any) -> str:
        if isinstance(made, Posting):
            return reverse("inventory:posting_detail", args=[made.pk])
        return reverse("inventory:jar_list")

    def _previewed(self, form: Any) -> dict[str, Any]:
        if not form.is_valid():
            return {}
        try:
            return {"preview": self.preview(dict(form.cleaned_data))}
        except HouseError as error:
            return {"problems": error.problems}


class LotActView(JarActView):
    """An act with the pieces of one lot, whose code and product are in the address."""

    @cached_property
    def lot(self) -> Lot:
        return lot_of(self.kwargs["code"], self.kwargs["product"])

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"lot": self.lot}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(lot=self.lot, **kwargs)

    def form_valid(self, form: Any) -> HttpResponse:
        # Which parts may be washed is known by the form, which has a field for each.
        self.parts = getattr(form, "washable", [])
        return super().form_valid(form)

    def next_url(self, made: Any) -> str:
        return lot_url(made.lot)


def lot_url(lot: Lot) -> str:
    return reverse("inventory:lot_detail", args=[lot.code, lot.what])


class LabelView(LotActView):
    form_class = forms.LabelForm
    template_name = "inventory/bottling/jars_label.html"

    def preview(self, data: dict[str, Any]) -> queries.JarPreview:
        return queries.preview_label(
            lot=self.lot,
            place=data["place"],
            product=data["product_wanted"],
            pieces=data["pieces"],
        )

    def act(self, data: dict[str, Any]) -> JarChange:
        return jars.label(
            lot=self.lot,
            product=data.pop("product_wanted"),
            changed_by=person_of(self.request),
            **data,
        )

    def done_message(self, made: JarChange) -> str:
        return ngettext(
            "%(pieces)s is now %(product)s, lot %(lot)s.",
            "%(pieces)s are now %(product)s, lot %(lot)s.",
            made.pieces,
        ) % {
            "pieces": words.pieces(made.pieces),
            "product": made.lot.product,
            "lot": made.lot.code,
        }


class EmptyView(LotActView):
    form_class = forms.EmptyForm
    template_name = "inventory/bottling/jars_empty.html"
    preview_template_name = "inventory/honey/_preview.html"

    def preview(self, data: dict[str, Any]) -> Any:
        return jars.preview_emptying(
            lot=self.lot,
            place=data["place"],
            pieces=data["pieces"],
            grams=data["weight"],
            vessel=data["vessel"],
            moisture_percent=data["moisture"],
            changed_on=data["changed_on"],
        )

    def act(self, data: dict[str, Any]) -> JarChange:
        self.vessel = data["vessel"]
        return jars.empty(
            lot=self.lot,
            grams=data.pop("weight"),
            moisture_percent=data.pop("moisture"),
            parts_back=forms.parts_back(data, self.parts),
            changed_by=person_of(self.request),
            **data,
        )

    def done_message(self, made: JarChange) -> str:
        return _("%(grams)s from the jars are in %(vessel)s: lot %(lot)s.") % {
            "grams": words.weight(made.pieces, 1),
            "vessel": self.vessel.name,
            "lot": self.lot_in_vessel(made).code,
        }

    def next_url(self, made: JarChange) -> str:
        return lot_url(self.lot_in_vessel(made))

    def lot_in_vessel(self, made: JarChange) -> Lot:
        """Return the lot in which the honey is now: a blend, where the vessel had some."""
        there = Balance.objects.in_vessel(self.vessel)
        return there.honey_lot if there else made.lot


class SetAsideView(LotActView):
    permission_required = "inventory.write_off"
    form_class = forms.SetAsideForm
    template_name = "inventory/bottling/jars_set_aside.html"

    def act(self, data: dict[str, Any]) -> ReturnedJars:
        return returned_jars.keep_apart(lot=self.lot, recorded_by=person_of(self.request), **data)

    def done_message(self, made: ReturnedJars) -> str:
        return ngettext(
            "%(pieces)s of lot %(lot)s is kept apart. Decide what happens with it.",
            "%(pieces)s of lot %(lot)s are kept apart. Decide what happens with them.",
            made.pieces,
        ) % {"pieces": words.pieces(made.pieces), "lot": made.lot.code}

    def posting_to_undo(self, made: Any) -> Posting | None:
        return None


class ReturnedView(JarActView):
    """What happens with jars that came back: only some people may release them."""

    form_class = forms.ReturnedForm
    template_name = "inventory/bottling/jars_returned.html"

    def prepare(self) -> None:
        self.returned = get_object_or_404(
            ReturnedJars.objects.select_related("lot__product", "set_aside_by"),
            pk=self.kwargs["pk"],
        )

    def get_form_kwargs(self) -> dict[str, Any]:
        may_release = self.request.user.has_perm("inventory.release_hold")
        return super().get_form_kwargs() | {
            "returned": self.returned,
            "may_release": may_release,
            # Others can't say that jars had not left: that would be a release by another name.
            "may_take_back": may_release or self.request.user == self.returned.set_aside_by,
        }

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(returned=self.returned, lot=self.returned.lot, **kwargs)

    def act(self, data: dict[str, Any]) -> ReturnedJars | None:
        target = data.pop("target", None)
        person = person_of(self.request)
        decision = data.pop("decision")
        if decision == "mistake":
            returned_jars.was_mistake(
                returned=self.returned, recorded_by=person, key=data["key"], reason=data["reason"]
            )
            return None
        if decision == ReturnedJars.Decision.RELEASED:
            return returned_jars.release(
                returned=self.returned, target=target, released_by=person, **data
            )
        return returned_jars.write_off(returned=self.returned, recorded_by=person, **data)

    def done_message(self, made: ReturnedJars | None) -> str:
        if made is None:
            return _("%(pieces)s of lot %(lot)s: back where they were.") % {
                "pieces": words.pieces(self.returned.pieces),
                "lot": self.returned.lot.code,
            }
        return _("%(pieces)s of lot %(lot)s: %(decision)s.") % {
            "pieces": words.pieces(made.pieces),
            "lot": made.lot.code,
            "decision": made.get_decision_display(),
        }

    def posting_to_undo(self, made: Any) -> Posting | None:
        return made.decided if made else None

    def next_url(self, made: ReturnedJars | None) -> str:
        return lot_url(self.returned.lot)


class UnboxView(LotActView):
    form_class = forms.UnboxForm
    template_name = "inventory/bottling/boxes_apart.html"

    def act(self, data: dict[str, Any]) -> JarChange:
        return gift_boxes.take_apart(
            lot=self.lot,
            boxes=data.pop("pieces"),
            parts_back=forms.parts_back(data, self.parts),
            changed_by=person_of(self.request),
            **data,
        )

    def done_message(self, made: JarChange) -> str:
        return _("Took %(boxes)s apart. What was in them is back in its own lots.") % {
            "boxes": words.pieces(made.pieces)
        }


class BoxCreateView(ActView):
    permission_required = MANAGE_PARTS
    form_class = forms.BoxForm
    template_name = "inventory/bottling/box_form.html"
    box: Product | None = None

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"box": self.box}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(box=self.box, **kwargs)

    def act(self, data: dict[str, Any]) -> Product:
        del data["key"]
        return gift_boxes.save(
            box=self.box,
            contents=[
                BoxLine(line["product"], line["quantity"] or 1)
                for line in self.form.content_lines.cleaned_data
                if line.get("product")
            ],
            parts=[
                PartUse(line["part"], line["quantity"] or 1, line["per_pieces"] or 1)
                for line in self.form.part_lines.cleaned_data
                if line.get("part")
            ],
            **data,
        )

    def done_message(self, made: Product) -> str:
        return _("Added the gift box %(box)s.") % {"box": made.name}

    def next_url(self, made: Product) -> str:
        return reverse("inventory:jar_list")


class BoxEditView(BoxCreateView):
    def prepare(self) -> None:
        self.box = box_of(self.kwargs["code"])

    def edited(self) -> Model | None:
        return self.box

    def done_message(self, made: Product) -> str:
        return _("Saved %(box)s.") % {"box": made.name}


def box_of(code: str) -> Product:
    boxes = Product.objects.filter(kind=Product.Kind.GIFT_BOX).select_related("item")
    return get_object_or_404(boxes, code=code)


@require_POST
@permission_required(MANAGE_PARTS, raise_exception=True)
def box_switch(request: HttpRequest, code: str) -> HttpResponse:
    """Take a gift box out of use, or put it back."""
    box = box_of(code)
    if box.is_active:
        products.take_out_of_use(product=box)
        said = _("%(box)s is out of use. Boxes that are there can still be sold.")
    else:
        products.put_back_in_use(product=box)
        said = _("%(box)s is in use again.")
    messages.success(request, said % {"box": box.name})
    return redirect("inventory:jar_list")


class BoxMakeView(JarActView):
    form_class = forms.BoxMakeForm
    template_name = "inventory/bottling/boxes_make.html"

    @cached_property
    def box(self) -> Product:
        return box_of(self.kwargs["code"])

    def get_form_kwargs(self) -> dict[str, Any]:
        return super().get_form_kwargs() | {"box": self.box}

    def get_context_data(self, **kwargs: Any) -> dict[str, Any]:
        return super().get_context_data(box=self.box, **kwargs)

    def preview(self, data: dict[str, Any]) -> queries.JarPreview:
        return queries.preview_boxes(box=self.box, place=data["place"], boxes=data["boxes"])

    def act(self, data: dict[str, Any]) -> JarChange:
        return gift_boxes.put_together(box=self.box, changed_by=person_of(self.request), **data)

    def done_message(self, made: JarChange) -> str:
        return _("Put %(boxes)s of %(box)s together: lot %(lot)s.") % {
            "boxes": words.pieces(made.pieces),
            "box": made.lot.product,
            "lot": made.lot.code,
        }

    def next_url(self, made: JarChange) -> str:
        return lot_url(made.lot)
