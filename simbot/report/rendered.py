"""Fills the HTML templates: everything that goes in is escaped, but for drawings that were made here."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any
from xml.etree import ElementTree

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"


def rendered(
    template: str, filters: Mapping[str, Callable[..., Any]] | None = None, /, **values: object
) -> str:
    """A template, by its path in `simbot/report/`, with its values; a value that is missing is a fault."""
    folder, _, name = template.rpartition("/")
    environment = Environment(
        loader=PackageLoader("simbot.report", folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(filters or {})
    return environment.get_template(name).render(**values)


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
