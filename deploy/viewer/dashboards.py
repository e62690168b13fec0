#!/usr/bin/env python3
"""Writes the dashboards of this folder, each for PromQL and for Flux, out of one
description: `dashboards.py` writes them, `dashboards.py --check` tells whether they
are as this would write them. It needs nothing but Python."""

import json
import pathlib
import sys

from panels import (
    CLASSES, CONNECTED, HIGH, MEDIUM, STANDS, URGENCY, WELL, YES_NO, Panel, Query, dashed,
    laid_out, points, shown, span, steps, words,
)

FOLDER = pathlib.Path(__file__).parent
# An alarm changes seldom: so far back its last step is looked for.
BACK = "90d"


class PromQL:
    """The language of victoria-metrics and of Prometheus."""

    key, folder, kind = "promql", "promql", "prometheus"

    @staticmethod
    def source():
        return {"type": "prometheus", "uid": "${store}"}

    @staticmethod
    def variable(label, among):
        narrowed = f"{{{among}}}" if among else ""
        return f"label_values(reading_value{narrowed}, {label})"


class Flux:
    """The language of InfluxDB v2."""

    key, folder, kind = "flux", "flux", "influxdb"

    @staticmethod
    def source():
        return {"type": "influxdb", "uid": "${store}"}

    @staticmethod
    def variable(label, among):
        of_plant = ' and r.plant == "${plant}"' if among else ""
        return (
            'import "influxdata/influxdb/schema"\n'
            f'schema.tagValues(bucket: v.defaultBucket, tag: "{label}", '
            f'predicate: (r) => r._measurement == "reading"{of_plant}, start: -90d)'
        )


PLANT = 'plant=~"$plant"'
SUMP = PLANT + ', sump=~"$sump"'


# Which sumps a Flux query is about; in PromQL one expression fits one and several.
ONE = 'r.sump == "${sump}"'
CHOSEN = "r.sump =~ /^${sump:regex}$/"


def flux(measurement, field, *steps, where="", among="", back=None):
    """A Flux query: what is read, then the steps that follow."""
    filters = f'r._measurement == "{measurement}" and r._field == "{field}" and r.plant == "${{plant}}"'
    for more in (among, where):
        filters += f" and {more}" if more else ""
    start = f"start: -{back}" if back else "start: v.timeRangeStart, stop: v.timeRangeStop"
    lines = [
        "from(bucket: v.defaultBucket)",
        f"  |> range({start})",
        f"  |> filter(fn: (r) => {filters})",
    ]
    return "\n".join(lines + [f"  |> {step}" for step in steps])


def grouped(*columns):
    inner = ", ".join(f'"{column}"' for column in columns)
    return f"group(columns: [{inner}])"


def every(window, function):
    return f"aggregateWindow(every: {window}, fn: {function}, createEmpty: false)"


MEAN = every("v.windowPeriod", "mean")


def named(name):
    """One line of a table with this name: what a pivot makes a column of."""
    return f'map(fn: (r) => ({{sump: r.sump, what: "{name}", _value: r._value}}))'


def quantity(name, title, says, unit, decimals):
    """Readings of one quantity of a sump over time."""
    return Panel(
        "timeseries", title, says,
        [
            Query(
                f'reading_value{{{SUMP}, quantity="{name}"}}',
                flux("reading", "value", grouped("sump", "channel"), MEAN,
                     where=f'r.quantity == "{name}"', among=ONE),
                "{{sump}} {{channel}}",
            )
        ],
        (12, 8), unit, decimals=decimals,
    )


def worst(where):
    """How bad the worst alarm of each sump is, 0 to 3: PromQL."""
    of = lambda priority: f'last_over_time(alarm_active{{{where}, priority="{priority}"}}[{BACK}])'
    return (
        f'max by (sump) ({of("high")} * 3 or {of("medium")} * 2 or {of("low")} '
        f'or 0 * last_over_time(estimate_value{{{where}, quantity="concentration"}}[1d]))'
    )


WEIGHED = (
    'map(fn: (r) => ({r with _value: r._value * (if r.priority == "high" then 3.0 '
    'else if r.priority == "medium" then 2.0 else 1.0)}))'
)


def worst_flux(among, *more):
    return flux(
        "alarm", "active", grouped("sump", "condition", "priority"), "last()", WEIGHED,
        grouped("sump"), "max()", *more, among=among, back=BACK,
    )


def alarm_steps(columns, among="", where=""):
    """The steps of alarms in time, the last one before it included: Flux."""
    start = 'import "date"\nlong_ago = date.sub(d: 90d, from: v.timeRangeStart)\n'
    read = flux("alarm", "active", among=among, where=where)
    before = read.replace(
        "start: v.timeRangeStart, stop: v.timeRangeStop", "start: long_ago, stop: v.timeRangeStart"
    )
    key = grouped(*columns, "condition")
    before += f"\n  |> {key}\n  |> last()\n  |> map(fn: (r) => ({{r with _time: v.timeRangeStart}}))"
    return (
        f"{start}before = {before}\nwithin = {read}\n  |> {key}\n"
        'union(tables: [before, within])\n  |> sort(columns: ["_time"])'
    )


ANNUNCIATED = lambda window, by="": (
    f"sum{by}(sum_over_time(alarm_annunciates{{{PLANT}}}[{window}]))"
)


def annunciated(window, *more):
    return flux("alarm", "annunciates", "group()", every(window, "sum"), *more)


PLANT_OVERVIEW = [
    Panel(
        "stat", "Sumps that need somebody",
        "The sumps with an alarm that stands now, the worst first, and how bad it is: ▲ high is for now, ◆ medium for "
        "this shift, ● low for today. Open that sump's own page. At most 24 are shown. None: no alarm stands.",
        [Query(f"topk(24, {worst(SUMP)} > 0)",
               worst_flux(CHOSEN, "filter(fn: (r) => r._value > 0.0)", "group()",
                          'sort(columns: ["_value"], desc: true)', "limit(n: 24)", grouped("sump")), "{{sump}}")],
        (24, 6), mappings=URGENCY, nothing="no alarm stands",
    ),
    Panel(
        "table", "Sumps now",
        "Concentration, volume, alarms that stand, and the age of the newest reading of each sump. A "
        "sump whose readings are old shows what was, not what is: see instrument health.",
        [
            Query(f'max by (sump) (last_over_time(estimate_value{{{SUMP}, quantity="concentration"}}[1d]))',
                  "\n".join([
                      "strength = " + flux("estimate", "value", grouped("sump"), "last()", named("Concentration"),
                                           where='r.quantity == "concentration"', among=CHOSEN, back="1d"),
                      "volume = " + flux("estimate", "value", grouped("sump"), "last()", named("Volume"),
                                         where='r.quantity == "volume"', among=CHOSEN, back="1d"),
                      "alarms = " + flux("alarm", "active", grouped("sump", "condition", "priority"), "last()",
                                         grouped("sump"), "sum()", named("Alarms"), among=CHOSEN, back=BACK),
                      "age = " + flux("reading", "value", grouped("sump"), 'last(column: "_time")',
                                      'map(fn: (r) => ({sump: r.sump, what: "Newest reading", _value: '
                                      "float(v: int(v: now()) - int(v: r._time)) / 1000000000.0}))", among=CHOSEN, back="1d"),
                      "union(tables: [strength, volume, alarms, age])",
                      "  |> group()",
                      '  |> pivot(rowKey: ["sump"], columnKey: ["what"], valueColumn: "_value")',
                      '  |> sort(columns: ["sump"])',
                  ]),
                  "Concentration"),
            Query(f'max by (sump) (last_over_time(estimate_value{{{SUMP}, quantity="volume"}}[1d]))', None, "Volume"),
            Query(f"sum by (sump) (last_over_time(alarm_active{{{SUMP}}}[{BACK}]))", None, "Alarms"),
            Query(f"min by (sump) (time() - tlast_over_time(reading_value{{{SUMP}}}[1d]))", None, "Newest reading"),
        ],
        (24, 9), decimals=1,
        columns={
            "sump": {},
            "Concentration": {"unit": "suffix: %", "decimals": 2},
            "Volume": {"unit": "suffix: L", "decimals": 0},
            "Alarms": {"decimals": 0, "mappings": [words((0, "none", WELL)), span(1, None, "▲ some stand", MEDIUM, 1)]},
            "Newest reading": {"unit": "s", "decimals": 0, "colours": steps(WELL, (600, MEDIUM), (3600, HIGH))},
        },
    ),
    Panel(
        "timeseries", "Concentration",
        "The concentration of every sump as the daemon works it out, %. Windows differ from sump to sump: "
        "whether one is left is told by its alarm, above and on the sump's own page.",
        [Query(f'max by (sump) (estimate_value{{{SUMP}, quantity="concentration"}})',
               flux("estimate", "value", grouped("sump"), MEAN, where='r.quantity == "concentration"', among=CHOSEN), "{{sump}}")],
        (12, 9), "suffix: %", decimals=1,
    ),
    Panel(
        "timeseries", "Volume",
        "The volume in every sump, lines included, L. A fall without a working machine is a leak until the "
        "cause is found; a rise that nobody entered is water that runs in.",
        [Query(f'max by (sump) (estimate_value{{{SUMP}, quantity="volume"}})',
               flux("estimate", "value", grouped("sump"), MEAN, where='r.quantity == "volume"', among=CHOSEN), "{{sump}}")],
        (12, 9), "suffix: L", decimals=0,
    ),
    Panel(
        "state-timeline", "Alarms over time",
        "The worst alarm over time of each sump that had one. Bars that come and go within minutes are alarms that "
        "chatter: see alarm load.",
        [Query(f"{worst(SUMP)} and on (sump) (max by (sump) (max_over_time(alarm_active{{{SUMP}}}[$__range])) > 0)",
               alarm_steps(["sump", "priority"], among=CHOSEN) + "\n  |> " + WEIGHED, "{{sump}}")],
        (24, 9), mappings=URGENCY,
    ),
]

SUMP_PAGE = [
    Panel(
        "stat", "Worst alarm",
        "How bad the worst alarm of this sump is that stands now. What to do stands in its message, in litres.",
        [Query(worst(SUMP), worst_flux(ONE), "{{sump}}")], (6, 5), mappings=URGENCY,
    ),
    Panel(
        "stat", "Concentration",
        "The newest concentration, %. Read by hand before you dose.",
        [Query(f'max by (sump) (last_over_time(estimate_value{{{SUMP}, quantity="concentration"}}[1d]))',
               flux("estimate", "value", grouped("sump"), "last()", where='r.quantity == "concentration"',
                    among=ONE, back="1d"), "{{sump}}")],
        (6, 5), "suffix: %", decimals=2,
    ),
    Panel(
        "stat", "Volume",
        "The newest volume, L, lines included.",
        [Query(f'max by (sump) (last_over_time(estimate_value{{{SUMP}, quantity="volume"}}[1d]))',
               flux("estimate", "value", grouped("sump"), "last()", where='r.quantity == "volume"',
                    among=ONE, back="1d"), "{{sump}}")],
        (6, 5), "suffix: L", decimals=0,
    ),
    Panel(
        "stat", "Age of the newest reading",
        "How long ago the sump last reported. Above ten minutes something is amiss on the way; above an hour "
        "nothing on this page says anything about now.",
        [Query(f"min by (sump) (time() - tlast_over_time(reading_value{{{SUMP}}}[1d]))",
               flux("reading", "value", grouped("sump"), 'last(column: "_time")',
                    "map(fn: (r) => ({sump: r.sump, _value: float(v: int(v: now()) - int(v: r._time)) / 1000000000.0}))",
                    among=ONE, back="1d"), "{{sump}}")],
        (6, 5), "s", decimals=0, colours=steps(WELL, (600, MEDIUM), (3600, HIGH)),
    ),
    Panel(
        "timeseries", "Concentration and its window",
        "The concentration, and the window wanted as dashed lines (from the daemon's own page of values, where "
        "the store collects it). Outside it for longer than the delay an alarm comes with a dose.",
        [
            Query(f'max by (sump) (estimate_value{{{SUMP}, quantity="concentration"}})',
                  flux("estimate", "value", grouped("sump"), MEAN, where='r.quantity == "concentration"',
                       among=ONE), "concentration"),
            Query(f'100 * max(sumpward_sump_concentration_window_ratio{{{SUMP}, bound="lowest"}})', None, "lowest wanted"),
            Query(f'100 * max(sumpward_sump_concentration_window_ratio{{{SUMP}, bound="highest"}})', None, "highest wanted"),
        ],
        (12, 9), "suffix: %", decimals=2, overrides=[dashed("lowest wanted"), dashed("highest wanted")],
    ),
    Panel(
        "timeseries", "Refractometer and hand readings",
        "What the refractometer shows, °Bx, and what people read by hand, as points. Where they part, clean the "
        "prism and read again before anybody doses.",
        [
            Query(f'reading_value{{{SUMP}, quantity="brix"}}',
                  flux("reading", "value", grouped("channel"), MEAN, where='r.quantity == "brix"', among=ONE),
                  "{{channel}}"),
            Query(f'entry_value{{{SUMP}, kind="hand_reading", what="brix"}}',
                  flux("entry", "value", 'group()', 'set(key: "channel", value: "by hand")', grouped("channel"),
                       where='r.kind == "hand_reading" and r.what == "brix"', among=ONE), "by hand"),
        ],
        (12, 9), "suffix: °Bx", decimals=2, overrides=[points(".*by hand.*")],
    ),
    Panel(
        "timeseries", "Volume and what it is kept at",
        "The volume, L, and the working volume as a dashed line (from the daemon's own page of values, where the "
        "store collects it).",
        [
            Query(f'max by (sump) (estimate_value{{{SUMP}, quantity="volume"}})',
                  flux("estimate", "value", grouped("sump"), MEAN, where='r.quantity == "volume"', among=ONE),
                  "volume"),
            Query(f"max(sumpward_sump_working_volume_litres{{{SUMP}}})", None, "working volume"),
        ],
        (12, 8), "suffix: L", decimals=0, overrides=[dashed("working volume")],
    ),
    quantity("ph", "pH", "pH. A fall over days with a smell is souring: see the advice before anything is added.", "pH", 2),
    quantity("conductivity", "Conductivity",
             "Conductivity, µS/cm. It rises with concentration and with the salts of the make-up water; a rise "
             "without a rise of concentration is salt.", "suffix: µS/cm", 0),
    quantity("temperature", "Temperature", "Temperature of the mix, °C.", "celsius", 1),
    Panel(
        "timeseries", "Doses advised",
        "What was advised to put in and to drain, L, at the time of the advice. Whether it was done is told by the "
        "entries beside it.",
        [
            Query(f"sum by (way) (dose_concentrate_l{{{SUMP}}})",
                  flux("dose", "concentrate_l", grouped("way"), among=ONE), "concentrate, {{way}}"),
            Query(f"sum by (way) (dose_water_l{{{SUMP}}})", None, "water, {{way}}"),
            Query(f"sum by (way) (dose_drain_l{{{SUMP}}})", None, "drain, {{way}}"),
        ],
        (12, 8), "suffix: L", decimals=0, drawn="bars",
    ),
    Panel(
        "timeseries", "Additions entered",
        "What people wrote down that they put in, L, by what it was.",
        [Query(f'sum by (what) (entry_volume_l{{{SUMP}, kind="addition"}})',
               flux("entry", "volume_l", grouped("what"), where='r.kind == "addition"', among=ONE), "{{what}}")],
        (12, 8), "suffix: L", decimals=0, drawn="bars",
    ),
    Panel(
        "state-timeline", "Alarms of this sump",
        "Each alarm of this sump over time: when its condition held.",
        [Query(f"max by (condition) (last_over_time(alarm_active{{{SUMP}}}[{BACK}]))",
               alarm_steps(["sump"], among=ONE), "{{condition}}")],
        (24, 9), mappings=STANDS,
    ),
]

ABOUT_INSTRUMENTS = "^(silent|disagrees|instrument|source)"

INSTRUMENTS = [
    Panel(
        "table", "Instruments now",
        "How each instrument is by the status signals of NAMUR NE 107, whether a hand reading contradicts it, its "
        "value, and the age of its newest reading. Begin with ▲ failure. In Flux the newest reading and its age alone.",
        [
            Query(f"max by (sump, channel, quantity) (sumpward_channel_instrument_class{{{PLANT}}})",
                  flux("reading", "value", grouped("sump", "channel", "quantity", "unit"), "last()",
                       "map(fn: (r) => ({sump: r.sump, channel: r.channel, quantity: r.quantity, unit: r.unit, "
                       "Value: r._value, Age: float(v: int(v: now()) - int(v: r._time)) / 1000000000.0}))",
                       "group()", 'sort(columns: ["Age"], desc: true)', back="1d"),
                  "State"),
            Query(f"max by (sump, channel, quantity) (sumpward_channel_doubted{{{PLANT}}})", None, "Doubted"),
            Query(f"max by (sump, channel, quantity) (sumpward_channel_value{{{PLANT}}})", None, "Value"),
            Query(f"max by (sump, channel, quantity) (sumpward_channel_age_seconds{{{PLANT}}})", None, "Age"),
        ],
        (24, 11),
        columns={
            "State": {"mappings": CLASSES},
            "Doubted": {"mappings": YES_NO},
            "Value": {"decimals": 2},
            "Age": {"unit": "s", "decimals": 0, "colours": steps(WELL, (600, MEDIUM), (3600, HIGH))},
        },
    ),
    Panel(
        "state-timeline", "Instruments over time",
        "The state of each instrument over time. One that fails again and again has a bad contact or a wrong range.",
        [Query(f"max by (sump, channel) (sumpward_channel_instrument_class{{{PLANT}}})", None, "{{sump}} {{channel}}")],
        (24, 12), mappings=CLASSES,
    ),
    Panel(
        "state-timeline", "Alarms about instruments",
        "When alarms about instruments stood: silent, contradicted by hand, or in want of a look.",
        [Query(f'max by (sump, condition) (last_over_time(alarm_active{{{PLANT}, condition=~"{ABOUT_INSTRUMENTS}.*"}}[{BACK}]))',
               alarm_steps(["sump"], where=f"r.condition =~ /{ABOUT_INSTRUMENTS}/"), "{{sump}} {{condition}}")],
        (24, 10), mappings=STANDS,
    ),
    Panel(
        "timeseries", "Readings with a mark",
        "Readings an hour that are not good: spikes, faults, out of range, late, or with a wrong clock. A few spikes "
        "are bubbles; a steady number is an instrument or a gateway to look at.",
        [Query(f"sum by (sump, channel) (count_over_time(reading_marks{{{PLANT}}}[1h]))",
               flux("reading", "marks", grouped("sump", "channel"), every("1h", "count")), "{{sump}} {{channel}}")],
        (12, 9), "short", decimals=0, drawn="bars", nothing="none",
    ),
    Panel(
        "timeseries", "Spikes replaced",
        "Readings an hour that the filter against spikes has replaced. Foam and bubbles at the probe make many.",
        [Query(f"sum by (sump, channel) (3600 * rate(sumpward_channel_spikes_total{{{PLANT}}}[1h]))", None, "{{sump}} {{channel}}")],
        (12, 9), "short", decimals=0, nothing="none",
    ),
    Panel(
        "timeseries", "Readings a minute",
        "Readings a minute of each sump. A step down is a channel or a gateway that has gone.",
        [Query(f"sum by (sump) (count_over_time(reading_value{{{PLANT}}}[10m])) / 10",
               flux("reading", "value", grouped("sump"), every("10m", "count"),
                    "map(fn: (r) => ({r with _value: float(v: r._value) / 10.0}))"), "{{sump}}")],
        (24, 8), "short", decimals=1,
    ),
]

RATES = [span(None, 144, "acceptable", WELL, 0), span(144, 288, "◆ manageable at most", MEDIUM, 1),
         span(288, None, "▲ too many", HIGH, 2)]
LOAD_SAYS = " The bounds are those of ISA-18.2 / IEC 62682 from memory, for one person."

ALARM_LOAD = [
    Panel(
        "stat", "Announced in the last 24 h",
        "Alarms that people were told of in the last day: up to 144 very likely acceptable, up to 288 manageable at "
        "most." + LOAD_SAYS,
        [Query(ANNUNCIATED("1d"), flux("alarm", "annunciates", "group()", "sum()", back="1d"), "a day")],
        (8, 5), "short", decimals=0, colours=steps(WELL, (144, MEDIUM), (288, HIGH)), nothing="none",
    ),
    Panel(
        "stat", "Judged",
        "The same in words. Where it says too many, take the most frequent ones below first: a dead band, a delay or "
        "a limit is wrong, or an instrument is.",
        [Query(ANNUNCIATED("1d"), flux("alarm", "annunciates", "group()", "sum()", back="1d"), "load")],
        (8, 5), mappings=RATES, colours=steps(WELL, (144, MEDIUM), (288, HIGH)), nothing="none",
    ),
    Panel(
        "stat", "Nobody has taken on",
        "Alarms that stand, or have stood, and that nobody has acknowledged.",
        [Query(f"sum(last_over_time(alarm_unacknowledged{{{PLANT}}}[{BACK}]))",
               flux("alarm", "unacknowledged", grouped("sump", "condition", "priority"), "last()", "group()", "sum()",
                    back=BACK), "unacknowledged")],
        (8, 5), "short", decimals=0, colours=steps(WELL, (1, MEDIUM)), nothing="none",
    ),
    Panel(
        "timeseries", "Announced an hour",
        "Alarms that people were told of within an hour. Dashed: 6, very likely acceptable, and 12, manageable at "
        "most." + LOAD_SAYS,
        [Query(ANNUNCIATED("1h"), annunciated("1h"), "alarms an hour")],
        (12, 9), "short", decimals=0, low=0, limits=True, colours=steps(WELL, (6, MEDIUM), (12, HIGH)), drawn="bars",
    ),
    Panel(
        "timeseries", "Announced in ten minutes",
        "Alarms that people were told of within ten minutes. More than 10 (dashed) is a flood: nobody can follow "
        "that. Look for the one cause behind them." + LOAD_SAYS,
        [Query(ANNUNCIATED("10m"), annunciated("10m"), "alarms in ten minutes")],
        (12, 9), "short", decimals=0, low=0, limits=True, colours=steps(WELL, (10, HIGH)), drawn="bars",
    ),
    Panel(
        "bargauge", "By priority",
        "How many were announced in the time shown, by priority. The standards want about 80 % low, 15 % medium and "
        "5 % high: where most are high, nothing is." + LOAD_SAYS,
        [Query(ANNUNCIATED("$__range", " by (priority) "),
               flux("alarm", "annunciates", grouped("priority"), "sum()"), "{{priority}}")],
        (12, 8), "short", decimals=0,
    ),
    Panel(
        "table", "The ten most frequent",
        "Which alarms were announced most in the time shown. Mending these few mends most of the load.",
        [Query(f'topk(10, {ANNUNCIATED("$__range", " by (sump, condition) ")})',
               flux("alarm", "annunciates", grouped("sump", "condition"), "sum()", "group()",
                    'sort(columns: ["_value"], desc: true)', "limit(n: 10)",
                    'rename(columns: {_value: "Announced"})'), "Announced")],
        (12, 8), "short", decimals=0, columns={"Announced": {"decimals": 0}},
    ),
    Panel(
        "table", "Alarms that stand",
        "Every alarm whose condition holds now, and for how long. What stands for more than a day is stale: mend the "
        "cause, or let it be shelved with a reason.",
        [Query(f"(time() - tlast_over_time(alarm_active{{{PLANT}}}[{BACK}])) and (last_over_time(alarm_active{{{PLANT}}}[{BACK}]) > 0)",
               flux("alarm", "active", grouped("sump", "condition", "priority"), "last()",
                    "filter(fn: (r) => r._value > 0.0)",
                    "map(fn: (r) => ({sump: r.sump, condition: r.condition, priority: r.priority, "
                    'Stands: float(v: int(v: now()) - int(v: r._time)) / 1000000000.0}))', "group()",
                    'sort(columns: ["Stands"], desc: true)', back=BACK), "Stands")],
        (24, 9), columns={"Stands": {"unit": "s", "decimals": 0, "colours": steps(WELL, (86400, MEDIUM))}},
        nothing="none stands",
    ),
]

LOSS = 'sumpward_sump_{}_litres_per_second{{{}}} * 86400'

CONSUMPTION = [
    Panel(
        "timeseries", "Entered a day",
        "What people wrote down that they put in, L a day, by what it was. Water and premix that a meter counts stand in "
        "the use of the charge below.",
        [Query(f'sum by (what) (sum_over_time(entry_volume_l{{{SUMP}, kind="addition"}}[1d]))',
               flux("entry", "volume_l", grouped("what"), every("1d", "sum"),
                    where='r.kind == "addition"', among=CHOSEN), "{{what}}")],
        (12, 9), "suffix: L", decimals=0, drawn="bars", nothing="nothing was entered",
    ),
    Panel(
        "timeseries", "Advised a day",
        "The concentrate and water that was advised, L a day, whether it was put in or not. Far more than was entered: "
        "doses are not followed, or not written down.",
        [
            Query(f'sum by (way) (sum_over_time(dose_concentrate_l{{{SUMP}}}[1d]))',
                  flux("dose", "concentrate_l", grouped("way"), every("1d", "sum"), among=CHOSEN),
                  "concentrate, {{way}}"),
            Query(f'sum by (way) (sum_over_time(dose_water_l{{{SUMP}}}[1d]))', None, "water, {{way}}"),
        ],
        (12, 9), "suffix: L", decimals=0, drawn="bars", nothing="nothing was advised",
    ),
    Panel(
        "bargauge", "Entered in the time shown",
        "What people wrote down that they put in, L, sump by sump. Compare sumps of the same size and work.",
        [Query(f'sum by (sump) (sum_over_time(entry_volume_l{{{SUMP}, kind="addition"}}[$__range]))',
               flux("entry", "volume_l", grouped("sump"), "sum()",
                    where='r.kind == "addition"', among=CHOSEN), "{{sump}}")],
        (12, 9), "suffix: L", decimals=0, nothing="nothing was entered",
    ),
    Panel(
        "table", "Use of the present charge",
        "Litres of concentrate and water that went into the present charge of each sump, and what was drained, by "
        "meters, entries and balance together.",
        [
            Query(f'max by (sump) (sumpward_sump_used_litres{{{SUMP}, what="concentrate"}})', None, "Concentrate"),
            Query(f'max by (sump) (sumpward_sump_used_litres{{{SUMP}, what="water"}})', None, "Water"),
            Query(f'max by (sump) (sumpward_sump_used_litres{{{SUMP}, what="drained"}})', None, "Drained"),
        ],
        (12, 9), "suffix: L", decimals=0, columns={"Concentrate": {"decimals": 1}, "Water": {}, "Drained": {}},
    ),
    Panel(
        "timeseries", "Losses",
        "Water lost by evaporation and mix carried off, L a day, sump by sump, once a sump has been watched for long "
        "enough. Carry-off that grows is chips and parts that take more with them, or a leak.",
        [
            Query("max by (sump) (" + LOSS.format("evaporation", SUMP) + ")", None, "{{sump}} evaporation"),
            Query("max by (sump) (" + LOSS.format("carry_off", SUMP) + ")", None, "{{sump}} carry-off"),
        ],
        (24, 9), "suffix: L/d", decimals=1, nothing="not known yet",
    ),
    Panel(
        "timeseries", "Volume, change a day",
        "How much more or less stands in each sump than a day before, L.",
        [Query(f'max by (sump) (delta(estimate_value{{{SUMP}, quantity="volume"}}[1d]))',
               flux("estimate", "value", grouped("sump"), every("1d", "last"), "difference()",
                    where='r.quantity == "volume"', among=CHOSEN), "{{sump}}")],
        (24, 8), "suffix: L", decimals=0,
    ),
]

DAEMON = [
    Panel(
        "stat", "Sources",
        "Whether each source of readings is connected. Where one is lost, see what the daemon's log says of it.",
        [Query("min by (source, kind) (sumpward_source_connected)", None, "{{kind}} {{source}}")],
        (12, 5), mappings=CONNECTED,
    ),
    Panel(
        "stat", "Store",
        "Whether the store fails to write. Nothing is acknowledged to the broker then; it comes again. Look at the disk.",
        [Query("max(sumpward_store_failing)", None, "fails to write")], (6, 5), mappings=YES_NO,
    ),
    Panel(
        "stat", "Oldest message that waits",
        "Age of the oldest message that could not be sent yet, by kind of receiver. Above ten minutes look at the mail "
        "server, webhook or broker.",
        [Query("max by (receiver) (sumpward_outbox_oldest_age_seconds)", None, "{{receiver}}")],
        (6, 5), "s", decimals=0, colours=steps(WELL, (600, MEDIUM), (3600, HIGH)),
    ),
    Panel(
        "timeseries", "Readings a second",
        "Readings a second that came from each source.",
        [Query("sum by (source) (rate(sumpward_source_readings_total[5m]))", None, "{{source}}")],
        (12, 8), "short", decimals=2,
    ),
    Panel(
        "timeseries", "Not taken",
        "Messages an hour that were not taken, by reason, and readings that came too late. The daemon's log names the "
        "topics.",
        [
            Query("sum by (source, reason) (3600 * rate(sumpward_source_messages_refused_total[1h]))", None, "{{source}} {{reason}}"),
            Query("sum(3600 * rate(sumpward_engine_readings_late_total[1h]))", None, "late"),
            Query('sum by (became) (3600 * rate(sumpward_store_values_total{became!="stored"}[1h]))', None, "store: {{became}}"),
        ],
        (12, 8), "short", decimals=1,
    ),
    Panel(
        "timeseries", "Commit time",
        "How long it takes until readings are on the disk: the middle and the slowest hundredth. An alarm waits for it.",
        [
            Query("histogram_quantile(0.5, sum by (le) (rate(sumpward_store_commit_seconds_bucket[5m])))", None, "half of them"),
            Query("histogram_quantile(0.99, sum by (le) (rate(sumpward_store_commit_seconds_bucket[5m])))", None, "99 of 100"),
        ],
        (12, 8), "s", limits=True, colours=steps(WELL, (0.5, MEDIUM), (2, HIGH)),
    ),
    Panel(
        "timeseries", "What waits",
        "Readings that wait for the engine, commands that wait for the store, and messages that wait to be sent. A line "
        "that only rises is a bottleneck.",
        [
            Query("sum(sumpward_engine_queue_contents)", None, "for the engine"),
            Query("max(sumpward_store_queue_commands)", None, "for the store"),
            Query("sum by (receiver) (sumpward_outbox_messages)", None, "messages, {{receiver}}"),
        ],
        (12, 8), "short", decimals=0,
    ),
    Panel(
        "timeseries", "Forwarding, behind by",
        "How far each server of series is behind the store. A line that rises is a server that is away or refuses: the "
        "daemon's log says which and why; nothing is lost meanwhile.",
        [Query("max by (target) (sumpward_forward_lag_seconds)", None, "{{target}}")],
        (12, 8), "s", low=0, limits=True, colours=steps(WELL, (300, MEDIUM), (86400, HIGH)),
    ),
    Panel(
        "timeseries", "Forwarding, lines",
        "Lines a second that each server of series took, and lines an hour that it will never take: those stand in the "
        "file of dead letters with the server's words.",
        [
            Query("sum by (target) (rate(sumpward_forward_lines_total[5m]))", None, "{{target}}, taken a second"),
            Query("sum by (target) (3600 * rate(sumpward_forward_lines_refused_total[1h]))", None, "{{target}}, refused an hour"),
        ],
        (12, 8), "short", decimals=1,
    ),
    Panel(
        "timeseries", "Files of the store",
        "Size of the store, and of what is not yet taken over into its main file (wal).",
        [Query("max by (file) (sumpward_store_file_bytes)", None, "{{file}}")], (12, 8), "bytes", decimals=1,
    ),
    Panel(
        "timeseries", "Thrown away for want of room",
        "Readings and estimates a day that were deleted before their time, as the store had too little room; with no, a server of "
        "series did not have them yet. Make room on the disk, or give the store more.",
        [Query("sum by (forwarded) (86400 * rate(sumpward_store_values_deleted_for_room_total[1h]))", None, "forwarded: {{forwarded}}")],
        (12, 8), "short", decimals=0,
    ),
    Panel(
        "timeseries", "What the store holds",
        "Readings and estimates in packed blocks, and rows of rollups by their step.",
        [
            Query("max(sumpward_store_packed_values)", None, "packed values"),
            Query("max by (step) (sumpward_store_rollups)", None, "rollups, {{step}}"),
        ],
        (12, 8), "short", decimals=0,
    ),
    Panel(
        "timeseries", "Engine at work",
        "Share of the time for which each shard of the engine works. Near 1 it is full: more threads, or another machine.",
        [Query("sum by (shard) (rate(sumpward_engine_busy_seconds_total[5m]))", None, "shard {{shard}}")],
        (12, 8), "percentunit", decimals=2, low=0, limits=True, colours=steps(WELL, (0.7, MEDIUM), (0.9, HIGH)),
    ),
]

# Name, title, what it is for, panels, the variable for sumps (none, one, several).
DASHBOARDS = [
    ("plant", "Plant overview", "Every sump of a plant: which of them needs somebody, and how soon.", PLANT_OVERVIEW, "several"),
    ("sump", "Sump", "One sump: what is in it, what was done, what stands.", SUMP_PAGE, "one"),
    ("instruments", "Instrument health", "Which instruments can be believed, and which need a look.", INSTRUMENTS, None),
    ("alarm-load", "Alarm load", "Whether people can live with the alarms.", ALARM_LOAD, None),
    ("consumption", "Consumption", "What sumps use and lose.", CONSUMPTION, "several"),
    ("daemon", "Daemon", "How the daemon itself does: from its page of values.", DAEMON, None),
]


def variable(name, label, language, among, several=False):
    query = language.variable(name, among)
    return {
        "name": name,
        "label": label,
        "type": "query",
        "datasource": language.source(),
        "query": {"query": query, "refId": name} if language.key == "promql" else query,
        "refresh": 2,
        "sort": 1,
        "hide": 0,
        "multi": several,
        "includeAll": several,
        "allValue": ".*" if several else None,
        "current": {},
        "options": [],
        "regex": "",
    }


def variables(language, sumps, of_plant):
    store = {
        "name": "store",
        "label": "Store",
        "type": "datasource",
        "query": language.kind,
        "current": {"text": f"sumpward-{language.key}", "value": f"sumpward-{language.key}"},
        "hide": 0,
        "multi": False,
        "includeAll": False,
        "options": [],
        "refresh": 1,
        "regex": "",
    }
    found = [store]
    if of_plant:
        found.append(variable("plant", "Plant", language, ""))
    if sumps:
        found.append(variable("sump", "Sump", language, PLANT, sumps == "several"))
    return found


def dashboard(name, title, says, panels, sumps, language):
    return {
        "uid": f"sumpward-{name}-{language.key}",
        "title": title,
        "description": says,
        "tags": ["sumpward", language.key],
        "schemaVersion": 39,
        "version": 1,
        "editable": False,
        "graphTooltip": 1,
        "refresh": "1m",
        "time": {"from": "now-7d" if name == "consumption" else "now-24h", "to": "now"},
        "timezone": "browser",
        "links": [
            {
                "type": "dashboards",
                "title": "Others",
                "tags": ["sumpward", language.key],
                "asDropdown": True,
                "includeVars": True,
                "keepTime": True,
            }
        ],
        "templating": {"list": variables(language, sumps, name != "daemon")},
        "annotations": {"list": []},
        "panels": laid_out(panels, language),
    }


def written():
    """Every file with its text."""
    for language in (PromQL, Flux):
        for name, title, says, panels, sumps in DASHBOARDS:
            if shown(panels, language):
                made = dashboard(name, title, says, panels, sumps, language)
                text = json.dumps(made, indent=2, ensure_ascii=False) + "\n"
                yield FOLDER / "dashboards" / language.folder / f"{name}.json", text


def main():
    check = sys.argv[1:] == ["--check"]
    files = dict(written())
    there = set((FOLDER / "dashboards").glob("*/*.json"))
    wrong = [file for file, text in files.items() if not file.exists() or file.read_text() != text]
    wrong += sorted(there - set(files))
    if check:
        for file in wrong:
            print(f"{file}: not as dashboards.py writes it", file=sys.stderr)
        sys.exit(1 if wrong else 0)
    for file in sorted(there - set(files)):
        file.unlink()
    for file, text in files.items():
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text)


main()
