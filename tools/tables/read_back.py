"""Reads an exported Parquet file with pyarrow and with pandas and prints what they found as one JSON document.

It knows nothing of the project: names, types, units and values are compared by the test that runs it. Numbers
are printed so that they read back the same, times as nanoseconds since 1970 UTC.
"""

import json
import sys

import pandas
import pyarrow
import pyarrow.parquet


def plain(value):
    """A value of pandas as JSON has it: what is absent is null."""
    if isinstance(value, (list, tuple)) or type(value).__name__ == "ndarray":
        return [plain(item) for item in value]
    if pandas.isna(value):
        return None
    return value.item() if hasattr(value, "item") else value


def main(path):
    table = pyarrow.parquet.read_table(path)
    file = pyarrow.parquet.ParquetFile(path)
    words = lambda metadata: {k.decode(): v.decode() for k, v in (metadata or {}).items()}
    fields = [
        {
            "name": field.name,
            "type": str(field.type),
            "metadata": {k: v for k, v in words(field.metadata).items() if k in ("unit", "description")},
            "nulls": table.column(field.name).null_count,
        }
        for field in table.schema
    ]
    columns = {}
    for field in table.schema:
        column = table.column(field.name)
        if pyarrow.types.is_timestamp(field.type):
            column = column.cast(pyarrow.int64())
        columns[field.name] = column.to_pylist()

    frame = pandas.read_parquet(path)
    in_pandas = {}
    for name in frame.columns:
        series = frame[name]
        if str(series.dtype).startswith("datetime64"):
            series = series.astype("int64")
        in_pandas[name] = [plain(value) for value in series]

    json.dump(
        {
            "rows": table.num_rows,
            "row_groups": file.num_row_groups,
            "compression": file.metadata.row_group(0).column(0).compression if table.num_rows else None,
            "metadata": {k: v for k, v in words(table.schema.metadata).items() if k != "ARROW:schema"},
            "fields": fields,
            "columns": columns,
            "pandas_dtypes": {name: str(frame[name].dtype) for name in frame.columns},
            "pandas_nulls": {name: int(frame[name].isna().sum()) for name in frame.columns},
            "pandas": in_pandas,
        },
        sys.stdout,
        allow_nan=False,
    )


main(sys.argv[1])
