"""The parts that the dashboards are made of: colours, units, panels and where they
stand. What they show stands in dashboards.py."""

# Grey is well. A colour stands for something abnormal only, and always beside a
# word or a shape. The shades differ in lightness, too, so that they can be told
# apart without seeing colours.
WELL = "#7f868d"
PLAIN = "#a4abb1"
LOW = "#4d7ea6"
MEDIUM = "#c07f1c"
HIGH = "#ab2f2a"
LIMIT = "#5b6167"

WIDTH = 24


def steps(*colours):
    """Thresholds: the colour from nothing on, then pairs of value and colour."""
    first, *rest = colours
    return [{"color": first, "value": None}] + [
        {"color": colour, "value": value} for value, colour in rest
    ]


def words(*pairs):
    """Values with the words and colours that stand for them."""
    options = {
        str(value): {"index": index, "text": text, "color": colour}
        for index, (value, text, colour) in enumerate(pairs)
    }
    return {"type": "value", "options": options}


def span(low, high, text, colour, index=0):
    """Words for a range of values; None is without end."""
    result = {"index": index, "text": text, "color": colour}
    return {"type": "range", "options": {"from": low, "to": high, "result": result}}


# How bad the worst alarm of a sump is. Each word begins with a shape of its own.
URGENCY = [
    words(
        (0, "well", WELL),
        (1, "● low: within the day", LOW),
        (2, "◆ medium: within the shift", MEDIUM),
        (3, "▲ high: now", HIGH),
    )
]
STANDS = [words((0, "over", WELL), (1, "▲ stands", MEDIUM))]
YES_NO = [words((0, "no", WELL), (1, "▲ yes", MEDIUM))]
CONNECTED = [words((0, "▲ lost", HIGH), (1, "connected", WELL))]
# The status signals of NAMUR NE 107, in rising precedence.
CLASSES = [
    words(
        (0, "good", WELL),
        (1, "● maintenance required", LOW),
        (2, "◆ out of specification", MEDIUM),
        (3, "◆ function check", MEDIUM),
        (4, "▲ failure", HIGH),
    )
]


class Query:
    """What one line of a panel asks for, in each language."""

    def __init__(self, promql=None, flux=None, name=None):
        self.promql, self.flux, self.name = promql, flux, name


class Panel:
    """One panel, before it is known where it stands."""

    def __init__(self, kind, title, says, queries, size, unit="", **more):
        self.kind, self.title, self.says, self.queries = kind, title, says, queries
        self.width, self.height = size
        self.unit = unit
        self.decimals = more.get("decimals")
        self.colours = more.get("colours", steps(WELL))
        self.mappings = more.get("mappings", [])
        self.limits = more.get("limits", False)
        self.drawn = more.get("drawn", "line")
        self.columns = more.get("columns", {})
        self.overrides = more.get("overrides", [])
        self.nothing = more.get("nothing", "no data")
        self.low, self.high = more.get("low"), more.get("high")

    def json(self, number, place, language):
        table = self.kind == "table"
        targets = [
            target(query, index, language, self.kind)
            for index, query in enumerate(self.queries)
            if getattr(query, language.key)
        ]
        panel = {
            "id": number,
            "type": self.kind,
            "title": self.title,
            "description": self.says,
            "gridPos": place,
            "datasource": language.source(),
            "targets": targets,
            "fieldConfig": {
                "defaults": self.defaults() | self.naming(language),
                "overrides": self.all_overrides(),
            },
            "options": options(self.kind, self.drawn),
        }
        if table:
            panel["transformations"] = self.transformations(language)
        return panel

    def defaults(self):
        defaults = {
            "unit": self.unit or "none",
            "noValue": self.nothing,
            "color": {"mode": "thresholds" if self.kind != "timeseries" else "fixed", "fixedColor": PLAIN},
            "thresholds": {"mode": "absolute", "steps": self.colours},
            "mappings": self.mappings,
        }
        for key, value in (("decimals", self.decimals), ("min", self.low), ("max", self.high)):
            if value is not None:
                defaults[key] = value
        if self.kind == "timeseries":
            defaults["custom"] = {
                "drawStyle": self.drawn,
                "lineWidth": 1,
                "fillOpacity": 60 if self.drawn == "bars" else 0,
                "showPoints": "auto",
                "spanNulls": False,
                "thresholdsStyle": {"mode": "dashed" if self.limits else "off"},
            }
            if self.limits:
                defaults["custom"]["gradientMode"] = "scheme"
                defaults["color"] = {"mode": "thresholds"}
        if self.kind == "state-timeline":
            defaults["custom"] = {"lineWidth": 0, "fillOpacity": 80}
        if self.kind == "table":
            defaults["custom"] = {"align": "auto", "cellOptions": {"type": "auto"}, "minWidth": 90}
        return defaults

    def naming(self, language):
        """What a line is called: PromQL says so with each query, Flux has labels."""
        names = {query.name for query in self.queries if query.flux}
        if language.key == "promql" or self.kind == "table" or len(names) != 1:
            return {}
        (name,) = names
        text = (name or "{{sump}}").replace("{{", "${__field.labels.").replace("}}", "}")
        return {"displayName": text}

    def all_overrides(self):
        return list(self.overrides) + [
            column(name, **how) for name, how in self.columns.items() if how
        ]

    def transformations(self, language):
        """One row a thing, one column a query; what nobody reads is left out."""
        if language.key == "flux":
            return []
        hidden = {name: True for name in ("Time", "__name__", "job", "instance", "db", "plant")}
        hidden |= {f"Time {n}": True for n in range(1, 9)}
        asked = [query.name for query in self.queries if query.promql]
        # The viewer numbers the columns of several queries only.
        names = {f"Value #{chr(65 + index)}": name for index, name in enumerate(asked)}
        if len(asked) == 1:
            names = {"Value": asked[0]}
        return [
            {"id": "merge", "options": {}},
            {"id": "organize", "options": {"excludeByName": hidden, "renameByName": names}},
        ]


def column(name, unit=None, mappings=None, colours=None, decimals=None):
    """How one column of a table, or one line of a diagram, is shown."""
    properties = []
    if unit is not None:
        properties.append({"id": "unit", "value": unit})
    if decimals is not None:
        properties.append({"id": "decimals", "value": decimals})
    if mappings is not None:
        properties.append({"id": "mappings", "value": mappings})
        properties.append({"id": "custom.cellOptions", "value": {"type": "color-text"}})
    if colours is not None:
        properties.append({"id": "thresholds", "value": {"mode": "absolute", "steps": colours}})
        properties.append({"id": "custom.cellOptions", "value": {"type": "color-text"}})
    return {"matcher": {"id": "byName", "options": name}, "properties": properties}


def dashed(name, colour=LIMIT):
    """A line that is a limit and no measurement: dashed, and darker."""
    return {
        "matcher": {"id": "byName", "options": name},
        "properties": [
            {"id": "color", "value": {"mode": "fixed", "fixedColor": colour}},
            {"id": "custom.lineStyle", "value": {"fill": "dash", "dash": [8, 6]}},
            {"id": "custom.showPoints", "value": "never"},
        ],
    }


def points(name):
    """Values of people: points without a line between them."""
    return {
        "matcher": {"id": "byRegexp", "options": name},
        "properties": [
            {"id": "custom.drawStyle", "value": "points"},
            {"id": "custom.pointSize", "value": 9},
            {"id": "color", "value": {"mode": "fixed", "fixedColor": LIMIT}},
        ],
    }


def target(query, index, language, kind):
    letter = chr(65 + index)
    text = getattr(query, language.key)
    target = {"refId": letter, "datasource": language.source()}
    if language.key == "flux":
        return target | {"query": text}
    now = kind in ("table", "stat", "bargauge")
    return target | {
        "expr": text,
        "legendFormat": query.name or "{{sump}}",
        "instant": now,
        "range": not now,
        "format": "table" if kind == "table" else "time_series",
    }


def options(kind, drawn):
    legend = {"displayMode": "list", "placement": "bottom", "showLegend": True, "calcs": []}
    newest = {"calcs": ["lastNotNull"], "fields": "", "values": False}
    return {
        "timeseries": {"legend": legend, "tooltip": {"mode": "multi", "sort": "none"}},
        "state-timeline": {
            "legend": legend,
            "tooltip": {"mode": "single", "sort": "none"},
            "showValue": "auto",
            "mergeValues": True,
            "rowHeight": 0.8,
        },
        "table": {"showHeader": True, "cellHeight": "md", "footer": {"show": False}},
        "stat": {
            "reduceOptions": newest,
            "colorMode": "value",
            "graphMode": "none",
            "justifyMode": "center",
            "orientation": "auto",
            "textMode": "value_and_name",
        },
        "bargauge": {
            "reduceOptions": newest,
            "displayMode": "basic",
            "orientation": "horizontal",
            "showUnfilled": True,
            "valueMode": "text",
        },
    }[kind]


def laid_out(panels, language):
    """Puts panels beside each other while there is room, then below; a text is the
    heading of what follows. On a phone the viewer puts them below each other in
    this order."""
    x = y = height = 0
    placed = []
    for number, panel in enumerate(shown(panels, language), start=1):
        if isinstance(panel, str):
            x, y, height = 0, y + height, 0
            place = {"h": 1, "w": WIDTH, "x": 0, "y": y}
            placed.append(
                {"id": number, "type": "row", "title": panel, "collapsed": False, "gridPos": place, "panels": []}
            )
            y += 1
            continue
        if x + panel.width > WIDTH:
            x, y, height = 0, y + height, 0
        place = {"h": panel.height, "w": panel.width, "x": x, "y": y}
        placed.append(panel.json(number, place, language))
        x, height = x + panel.width, max(height, panel.height)
    return placed


def shown(panels, language):
    """Those that ask something in this language."""
    return [
        panel
        for panel in panels
        if isinstance(panel, str) or any(getattr(query, language.key) for query in panel.queries)
    ]
