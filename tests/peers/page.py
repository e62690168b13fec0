"""Reads the page of a report with Python's parser of XML, and counts what is in
it; what it would fetch from elsewhere is told."""

import json
import sys
import xml.etree.ElementTree as tree

page = tree.parse(sys.argv[1]).getroot()
html = "{http://www.w3.org/1999/xhtml}"
svg = "{http://www.w3.org/2000/svg}"
elsewhere = [
    f"{one.tag} {name}={value}"
    for one in page.iter()
    for name, value in one.attrib.items()
    if name in ("src", "href", "data", "action") and not value.startswith("#")
]
elsewhere += [one.tag for one in page.iter() if one.tag in (html + "script", html + "link", html + "img")]
json.dump(
    {
        "sections": sum("sump" in one.get("class", "") for one in page.iter(html + "section")),
        "drawings": sum(one.get("role") == "img" for one in page.iter(svg + "svg")),
        "tables": sum(1 for _ in page.iter(html + "table")),
        "elsewhere": elsewhere,
    },
    sys.stdout,
)
