"""Papers: made once a figure, never from a file, and refused in words where Pango is missing."""

import builtins

import pytest
from django.test import RequestFactory

from inventory.shared import documents, press
from inventory.shared.models import House

pytestmark = pytest.mark.django_db


@pytest.fixture
def no_pango(monkeypatch):
    """Behave as a machine without Pango does: importing WeasyPrint raises OSError."""
    real_import = builtins.__import__

    def fail(name, *args, **kwargs):
        if name.split(".")[0] == "weasyprint":
            raise OSError("cannot load library 'libpango-1.0-0'")
        return real_import(name, *args, **kwargs)

    press.ready.cache_clear()
    monkeypatch.setattr(builtins, "__import__", fail)
    yield
    press.ready.cache_clear()


def test_a_paper_is_the_same_bytes_each_time():
    first = documents.render_pdf("documents/base.html", {})
    second = documents.render_pdf("documents/base.html", {})

    assert first.startswith(b"%PDF-")
    assert first == second


@pytest.mark.parametrize(("paper", "size"), [("letter", "Letter"), ("A4", "A4")])
def test_the_paper_is_the_one_the_house_uses(paper, size):
    House(name="Hollow Oak Honey", paper=paper).save()

    html = documents.render_html("documents/base.html", {})

    assert f'@page {{ size: {size}; @bottom-right {{ content: "Page " counter(page)' in html
    assert "Hollow Oak Honey" in html


def test_a_paper_warns_about_infants():
    html = documents.render_html("documents/base.html", {})

    assert "Do not feed honey to infants under one year of age." in html


def test_a_paper_reads_no_file_of_the_machine(tmp_path):
    (tmp_path / "secret.txt").write_text("the till code")
    fetcher = press.ready().fetcher

    with pytest.raises(ValueError, match="disallowed protocol"):
        fetcher(f"file://{tmp_path}/secret.txt")


def test_without_pango_the_error_names_the_packages(no_pango):
    with pytest.raises(documents.PdfUnavailable) as refused:
        documents.render_pdf("documents/base.html", {})

    assert refused.value.message == (
        "Papers can't be made as PDF here, because Pango is missing. Everything else works. "
        "On Debian or Ubuntu install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0; "
        "on macOS run: brew install pango. Then start again."
    )
    assert refused.value.code == "pdf_unavailable"


def test_without_pango_the_page_says_so(no_pango, owner):
    request = RequestFactory().get("/")
    request.user = owner

    answer = documents.serve(
        request, name="paper.pdf", template_name="documents/base.html", context={}
    )

    assert answer.status_code == 503
    assert "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0" in answer.content.decode()
