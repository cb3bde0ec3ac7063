"""Starts the peer where a fleet's folder would stop it: it reads each file of
readings by its own header, whatever the columns' order, and knows the service
profiles that the program ships where the catalogue has none.

    start.py PROFILES PEER FLEET OUT
"""
import runpy
import sys

import polars as pl
import yaml

scan = pl.scan_csv


def each(source, **options):
    if isinstance(source, list):
        return pl.concat([scan(path, **options) for path in source], how="diagonal_relaxed")
    return scan(source, **options)


load = yaml.load
with open(sys.argv[1], encoding="utf-8") as f:
    shipped = load(f, Loader=yaml.SafeLoader)


def with_profiles(stream, **options):
    read = load(stream, **options)
    if isinstance(read, dict) and "inverters" in read:
        read.setdefault("profiles", shipped)
    return read


pl.scan_csv, yaml.load = each, with_profiles
sys.argv = sys.argv[2:]
runpy.run_path(sys.argv[0], run_name="__main__")
