"""Fills the HTML templates: everything that goes in is escaped, but for drawings that were made here."""

from __future__ import annotations

from xml.etree import ElementTree

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"


def rendered(template: str, **values: object) -> str:
    """A template of `templates/` with its values; a value that is missing is a fault."""
    environment = Environment(
        loader=PackageLoader("simbot.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(template).render(**values)


def inlined(svg: bytes, prefix: str, label: str) -> Markup:
    """A drawing to stand in a page: an image with a name, its ids made different from those of other drawings."""
    root = ElementTree.fromstring(svg)
    for metadata in root.findall(f"{{{SVG}}}metadata"):
        root.remove(metadata)
    known = {element.get("id") for element in root.iter()} - {None}
    for element in root.iter():
        for key, value in element.attrib.items():
            if key == "id":
                element.set(key, f"{prefix}-{value}")
            elif key == f"{{{XLINK}}}href" and value[1:] in known:
                element.set(key, f"#{prefix}-{value[1:]}")
            elif "url(#" in value:
                element.set(key, value.replace("url(#", f"url(#{prefix}-"))
    root.set("role", "img")
    root.set("aria-label", label)
    ElementTree.register_namespace("", SVG)
    ElementTree.register_namespace("xlink", XLINK)
    return Markup(ElementTree.tostring(root, encoding="unicode"))
