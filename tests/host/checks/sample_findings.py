"""A finding of every kind and case, with values that only fill its words."""

from collections.abc import Iterator

from pullcurve.checks.catalogue import CATALOGUE, Finding, Kind, Limit, Value, found

PLAUSIBLE = {
    "differential_pressure": -38.2,
    "station_pressure": 101_325.0,
    "height": 620.0,
    "temperature_difference": 9.0,
}


def sample_findings() -> Iterator[Finding]:
    for kind in Kind:
        row = CATALOGUE[kind]
        values = {
            name: _sample(row.fields[name].form or row.fields[name].quantity) for name in row.fields
        }
        for case in row.cases or ("",):
            yield found(kind, "" if row.subject else "some part", case=case, **values)


def _sample(form: str | None) -> Value:
    if form in PLAUSIBLE:
        return PLAUSIBLE[form]
    if form == "limit":
        return Limit("pipe bore", 0.049, 0.05, 1.2, "ISO 5167-4:2003, 1")
    if form == "s":
        return "some words"
    return 3 if form == "d" or "|" in str(form) else 12.5
