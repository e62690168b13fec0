"""What is wrong with the dashboards of a folder, and which queries they have.

    dashboards.py FOLDER structure          prints each mistake; ends with 1 if there is one
    dashboards.py FOLDER model              prints what the viewer's own model does not know
    dashboards.py FOLDER queries flux       prints an object of names and Flux queries
    dashboards.py FOLDER data URL FROM TO   runs each PromQL query at a store and prints those
                                            without data; ends with 1 if there is one

FROM and TO are seconds since 1970: the time in which the store has values. A query
may also have data at the present."""

import itertools
import json
import pathlib
import re
import sys
import time
import urllib.error
import urllib.parse
import urllib.request

KINDS = {"promql": "prometheus", "flux": "influxdb"}
BUILT_IN = {"__range", "__interval", "__rate_interval"}


def dashboards(folder):
    for file in sorted(pathlib.Path(folder).glob("dashboards/*/*.json")):
        yield file.parent.name, file.stem, json.loads(file.read_text())


def text_of(target):
    return target.get("expr") or target.get("query")


def overlap(one, other):
    a, b = one["gridPos"], other["gridPos"]
    return (
        a["x"] < b["x"] + b["w"]
        and b["x"] < a["x"] + a["w"]
        and a["y"] < b["y"] + b["h"]
        and b["y"] < a["y"] + a["h"]
    )


def mistakes_of_panel(panel, kind, variables):
    grid = panel["gridPos"]
    if grid["x"] < 0 or grid["w"] < 1 or grid["x"] + grid["w"] > 24 or grid["h"] < 1:
        yield "stands outside of the 24 columns"
    if panel["type"] == "row":
        return
    if len(panel.get("description", "")) < 20:
        yield "has no description"
    if not panel.get("title"):
        yield "has no title"
    defaults = panel["fieldConfig"]["defaults"]
    # Words need no unit, and the columns of a table have their own.
    bare = defaults.get("unit", "none") in ("", "none")
    if bare and not defaults["mappings"] and panel["type"] != "table":
        yield "has no unit"
    targets = panel.get("targets", [])
    if not targets:
        yield "asks for nothing"
    letters = [target["refId"] for target in targets]
    if len(set(letters)) != len(letters):
        yield "names two queries alike"
    for source in [panel["datasource"]] + [target["datasource"] for target in targets]:
        name = source["uid"].removeprefix("${").removesuffix("}")
        if variables.get(name) != kind or source["type"] != kind:
            yield f"has a data source that nothing resolves: {source}"
    for target in targets:
        for name in re.findall(r"\$\{?(\w+)", text_of(target)):
            if name not in variables and name not in BUILT_IN:
                yield f"query {target['refId']} uses the variable {name}, which there is not"
    colours = json.dumps(panel["fieldConfig"])
    steps = defaults["thresholds"]["steps"]
    told = defaults["mappings"] or "dashed" in colours
    told = told or panel["type"] in ("stat", "bargauge", "table")
    if len(steps) > 1 and not told:
        yield "tells something by colour alone"


def mistakes(folder):
    files = list(dashboards(folder))
    provisioned = set(re.findall(r"^\s*uid: (\S+)", sources_text(folder), re.MULTILINE))
    ids = [made["uid"] for _, _, made in files]
    if len(set(ids)) != len(ids):
        yield "two dashboards have the same uid"
    for language, name, made in files:
        where, kind = f"{language}/{name}", KINDS[language]
        variables = {}
        for variable in made["templating"]["list"]:
            of = variable["query"] if variable["type"] == "datasource" else None
            variables[variable["name"]] = of
            if of and variable["current"]["value"] not in provisioned:
                yield f"{where}: its store {variable['current']['value']} is not provisioned"
        panels = made["panels"]
        numbers = [panel["id"] for panel in panels]
        if len(set(numbers)) != len(numbers):
            yield f"{where}: two panels have the same id"
        for panel in panels:
            for mistake in mistakes_of_panel(panel, kind, variables):
                yield f"{where}: panel \"{panel['title']}\" {mistake}"
        for one, other in itertools.combinations(panels, 2):
            if overlap(one, other):
                yield f"{where}: panels \"{one['title']}\" and \"{other['title']}\" overlap"


def lost(ours, theirs, path=""):
    """What is in ours, and not in what the viewer's model made of it."""
    if isinstance(ours, dict):
        known = theirs if isinstance(theirs, dict) else {}
        for key, value in ours.items():
            # What is empty may be left out.
            if key in known or value not in ([], {}, "", None, False):
                yield from lost(value, known.get(key), f"{path}/{key}")
    elif isinstance(ours, list):
        if not isinstance(theirs, list) or len(ours) != len(theirs):
            yield f"{path}: {ours} is read as {theirs}"
        else:
            for index, pair in enumerate(zip(ours, theirs)):
                yield from lost(*pair, f"{path}/{index}")
    elif ours != theirs:
        yield f"{path}: {ours!r} is read as {theirs!r}"


def unknown_to_the_model(folder):
    from grafana_foundation_sdk.cog.encoder import JSONEncoder
    from grafana_foundation_sdk.cog.plugins import register_default_plugins
    from grafana_foundation_sdk.models.dashboard import Dashboard

    register_default_plugins()
    for language, name, made in dashboards(folder):
        read = json.loads(JSONEncoder().encode(Dashboard.from_json(made)))
        for what in lost(made, read):
            yield f"{language}/{name}{what}"


def sources_text(folder):
    files = sorted(pathlib.Path(folder).glob("provisioning/datasources/*.y*ml"))
    return "\n".join(file.read_text() for file in files)


def queries(folder, wanted):
    """Each query of a language by its place, those of variables too."""
    for language, name, made in dashboards(folder):
        if language != wanted:
            continue
        for panel in made["panels"]:
            for target in panel.get("targets", []):
                yield f"{name}/{panel['title']}/{target['refId']}", text_of(target)
        for variable in made["templating"]["list"]:
            if variable["type"] == "query":
                query = variable["query"]
                text = query if isinstance(query, str) else query["query"]
                yield f"{name}/variable {variable['name']}", text


def in_flux(query):
    """With the viewer's variables as the viewer fills them in."""
    option = (
        'option v = {defaultBucket: "plant", timeRangeStart: 2026-03-02T06:00:00Z, '
        "timeRangeStop: 2026-03-03T06:00:00Z, windowPeriod: 1m}"
    )
    for name, value in (("${plant}", "demo"), ("${sump:regex}", "(mill-2|saw-1)"), ("${sump}", "mill-2")):
        query = query.replace(name, value)
    imports = [line for line in query.splitlines() if line.startswith("import ")]
    rest = [line for line in query.splitlines() if not line.startswith("import ")]
    return "\n".join(imports + [option] + rest)


def in_promql(query, span):
    label = re.fullmatch(r"label_values\((.*), \w+\)", query)
    query = label[1] if label else query
    for name, value in (("$plant", "demo"), ("$sump", ".*"), ("$__range", f"{int(span)}s")):
        query = query.replace(name, value)
    return query


def has_data(url, query, start, end):
    # Fine enough for what was scraped for some seconds.
    step = max(1, int((end - start) / 300))
    asked = urllib.parse.urlencode({"query": query, "start": start, "end": end, "step": step, "nocache": 1})
    try:
        with urllib.request.urlopen(f"{url}/api/v1/query_range?{asked}", timeout=60) as answer:
            found = json.load(answer)
    except urllib.error.HTTPError as refused:
        raise ValueError(refused.read().decode()[:300]) from None
    return any(series["values"] for series in found["data"]["result"])


def without_data(folder, url, start, end):
    now = time.time()
    for name, query in queries(folder, "promql"):
        query = in_promql(query, end - start)
        try:
            spans = ((start, end), (now - 300, now))
            if not any(has_data(url, query, *span) for span in spans):
                yield f"{name}: no data for {query}"
        except ValueError as refused:
            yield f"{name}: {refused} in {query}"


def main():
    folder, what, *more = sys.argv[1:]
    if what == "queries":
        print(json.dumps({name: in_flux(query) for name, query in queries(folder, *more)}))
        return
    if what == "structure":
        found = list(mistakes(folder))
    elif what == "model":
        found = list(unknown_to_the_model(folder))
    else:
        url, start, end = more
        found = list(without_data(folder, url, float(start), float(end)))
    print("\n".join(found))
    sys.exit(1 if found else 0)


main()
