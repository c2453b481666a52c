"""The shape of a warehouse: a digest of the rules, statements and schemas that make and read it.

A warehouse published by another version of the code may lack a column that a page reads, or hold
what a rule since mended once said. Its manifest carries the shape it was made with, so that such a
one is rebuilt and not half read.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from functools import cache

import duckdb
import numpy as np
import pandas as pd
import pyarrow as pa

from models.frames import FrameSchema
from models.plans import schemas as plans
from models.risk import schemas as risk
from models.statics import schemas as statics
from models.sweeps import schemas as sweeps
from models.sweeps.measure import MEASURE_VERSION
from models.wear import schemas as wear
from pipeline.access.frames import stock_schemas as stock
from pipeline.access.frames import view_schemas as access
from pipeline.intake.read_rows import READ_VERSION
from pipeline.statements import ROOT
from pipeline.warehouse import wear_schemas as wear_kept


@cache
def current_shape() -> str:
    """The shape that the code at hand makes and reads."""
    digest = hashlib.sha256(f"{MEASURE_VERSION}/{READ_VERSION}".encode())
    for module in (access, plans, risk, statics, stock, sweeps, wear, wear_kept):
        digest.update(schema_digest(vars(module).values()).encode())
    rules = [*ROOT.rglob("*.sql"), *(ROOT.parent / "models").rglob("*.py")]
    for path in sorted(rules):
        digest.update(path.relative_to(ROOT.parent).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()[:16]


@cache
def current_code() -> str:
    """A digest of all the code that a build runs, and of the versions of what it is made with."""
    packages = [package.__version__ for package in (duckdb, np, pd, pa)]
    digest = hashlib.sha256(f"{current_shape()}/{packages}".encode())
    for path in sorted(ROOT.rglob("*.py")):
        digest.update(path.relative_to(ROOT.parent).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()[:16]


def schema_digest(values: Iterable[object]) -> str:
    """A digest of the columns of every schema among ``values``."""
    schemas = sorted(
        (value.name, value.names) for value in values if isinstance(value, FrameSchema)
    )
    return hashlib.sha256(repr(schemas).encode()).hexdigest()[:16]
