import re

from groundstation.config.filetable import FileTable
from groundstation.config.reference import vehicle_reference
from groundstation.config.vehicle import PRACTICE, Limits, Vehicle
from groundstation.config.wire import WIRE_TYPES
from groundstation.measurements import names


def tables(table: type[FileTable]) -> set[type[FileTable]]:
    """Every table below one, found in what pydantic itself writes of the models."""
    found = {table}
    pending = [table]
    while pending:
        for field in pending.pop().model_fields.values():
            for inner in re.findall(r"groundstation\.config\.(\w+)\.(\w+)", repr(field.annotation)):
                module = __import__(f"groundstation.config.{inner[0]}", fromlist=[inner[1]])
                kind = getattr(module, inner[1])
                if isinstance(kind, type) and issubclass(kind, FileTable) and kind not in found:
                    found.add(kind)
                    pending.append(kind)
    return found


def test_reference_has_every_key_of_every_table_with_its_description() -> None:
    flat = " ".join(vehicle_reference().split())
    rows = set(vehicle_reference().split("\n"))
    found = tables(Vehicle)
    assert len(found) >= 14
    for table in found:
        assert " ".join((table.__doc__ or "").split()) in flat
        for attribute, field in table.model_fields.items():
            assert f"  {field.alias or attribute}" in rows
            if field.description:
                assert " ".join(field.description.split()) in flat


def test_every_key_of_a_vehicle_file_says_what_it_means() -> None:
    silent = [
        f"{table.__name__}.{attribute}"
        for table in tables(Vehicle)
        for attribute, field in table.model_fields.items()
        if not field.description
        and not any(f"{t.__module__}.{t.__name__}" in repr(field.annotation) for t in tables(Vehicle))
    ]
    assert silent == []


def test_reference_gives_each_limit_its_default_and_source() -> None:
    text = vehicle_reference()
    limits = text[text.index("[limits]") : text.index("[telemetry]")]
    for attribute, field in Limits.model_fields.items():
        at = limits.index(f"\n  {field.alias or attribute}\n")
        entry = " ".join(limits[at : at + 500].split())
        assert str(field.default) in entry
        source = field.json_schema_extra["source"]
        assert f"source of the default: {source}" in entry
        assert PRACTICE in source or "(National Association of Rocketry, 2" in source


def test_reference_has_every_type_and_every_meaning() -> None:
    text = vehicle_reference()
    for family, meaning in WIRE_TYPES.items():
        assert " ".join(f"{family}: {meaning}".split()) in " ".join(text.split())
    for word in names():
        assert re.search(rf"(?m)\b{word}\b", text)


def test_reference_is_plain_text_of_a_readable_width() -> None:
    rows = vehicle_reference().split("\n")
    assert max(map(len, rows)) <= 100
    assert all(row == row.rstrip() for row in rows)
    assert "pydantic" not in vehicle_reference()
