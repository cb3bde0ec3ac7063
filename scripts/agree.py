"""What four engines read in the leaf columns of a run's tables.

Each gives, for every leaf of every table, its type, how many values are not
null, and a digest of the values in order; parquet-go does the same in
scripts/leaves. A struct's fields are leaves, a list's entries are its values.
"""
import datetime
import hashlib
import struct

import duckdb
import polars as pl
import pyarrow as pa

EPOCH = datetime.date(1970, 1, 1)


def pack(kind, value):
    if kind == "text":
        raw = value.encode()
        return struct.pack("<Q", len(raw)) + raw
    if kind == "float64":
        return struct.pack("<d", value)
    if kind == "date":
        return struct.pack("<q", (value - EPOCH).days)
    return struct.pack("<q", int(value))


class Leaves(dict):
    """Collects the values of the leaves below each column."""

    def add(self, path, kind, value):
        leaf = self.setdefault(path, {"type": kind, "values": 0, "sum": hashlib.sha256()})
        if value is not None:
            leaf["values"] += 1
            leaf["sum"].update(pack(kind, value))

    def walk(self, path, shape, value):
        """shape is a type's name, a list of one shape, or a dict of shapes."""
        if isinstance(shape, list):
            self.declare(path, shape[0])
            for entry in value:
                self.walk(path, shape[0], entry)
        elif isinstance(shape, dict):
            for name, of in shape.items():
                self.walk(path + "." + name, of, value[name])
        else:
            self.add(path, shape, value)

    def declare(self, path, shape):
        if isinstance(shape, dict):
            for name, of in shape.items():
                self.declare(path + "." + name, of)
        elif not isinstance(shape, list):
            self.add(path, shape, None)

    def done(self):
        return {path: {"type": l["type"], "values": l["values"], "digest": l["sum"].hexdigest()} for path, l in self.items()}


def leaves(shapes, columns):
    out = Leaves()
    for name, shape in shapes.items():
        out.declare(name, shape[0] if isinstance(shape, list) else shape)
        for value in columns[name]:
            out.walk(name, shape, value)
    return out.done()


def arrow_shape(t):
    if pa.types.is_list(t):
        return [arrow_shape(t.value_type)]
    if pa.types.is_struct(t):
        return {f.name: arrow_shape(f.type) for f in t}
    return {"string": "text", "double": "float64", "int32": "int32", "bool": "boolean", "date32[day]": "date"}[str(t)]


def by_arrow(table):
    return leaves({f.name: arrow_shape(f.type) for f in table.schema}, {n: table.column(n).to_pylist() for n in table.column_names})


def duck_shape(t):
    if t.id == "list":
        return [duck_shape(t.children[0][1])]
    if t.id == "struct":
        return {name: duck_shape(of) for name, of in t.children}
    return {"varchar": "text", "double": "float64", "integer": "int32", "boolean": "boolean", "date": "date"}[t.id]


def by_duckdb(path):
    rel = duckdb.sql(f"SELECT * FROM '{path}'")
    rows = rel.fetchall()
    return leaves({n: duck_shape(t) for n, t in zip(rel.columns, rel.types)}, {n: [r[i] for r in rows] for i, n in enumerate(rel.columns)})


def polars_shape(t):
    if isinstance(t, pl.List):
        return [polars_shape(t.inner)]
    if isinstance(t, pl.Struct):
        return {f.name: polars_shape(f.dtype) for f in t.fields}
    return {pl.String: "text", pl.Categorical: "text", pl.Float64: "float64", pl.Int32: "int32", pl.Boolean: "boolean", pl.Date: "date"}[type(t)]


def by_polars(path):
    frame = pl.read_parquet(path)
    return leaves({n: polars_shape(t) for n, t in frame.schema.items()}, {n: frame[n].to_list() for n in frame.columns})
