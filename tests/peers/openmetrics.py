"""Reads OpenMetrics text from standard input with the parser of prometheus_client
and writes what it found as JSON: a list of families, each with its name, kind,
unit, help and values. Ends with 1 and the reason where the text breaks a rule."""

import json
import sys

from prometheus_client.openmetrics.parser import text_string_to_metric_families


def family(found):
    values = [
        {"name": sample.name, "labels": sample.labels, "value": sample.value}
        for sample in found.samples
    ]
    return {
        "name": found.name,
        "kind": found.type,
        "unit": found.unit,
        "help": found.documentation,
        "values": values,
    }


def main():
    text = sys.stdin.buffer.read().decode()
    try:
        families = [family(found) for found in text_string_to_metric_families(text)]
    except ValueError as why:
        sys.exit(f"not OpenMetrics: {why}")
    json.dump(families, sys.stdout, allow_nan=False)


main()
