"""All kinds of loggers' files behind one interface: told by their content, never by their name."""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import pandas as pd
import pyarrow as pa
from pyarrow import parquet

from pipeline.intake.loggers import candump, mdf, text_table, wav
from pipeline.intake.loggers.recording import (
    LogChoice,
    LogError,
    LogFile,
    LogLook,
    LogSweep,
    Reader,
)

#: A table of text is what is left: it has no mark of its own.
READERS = (
    Reader(mdf.KIND, mdf.is_mdf, mdf.look, mdf.sweep),
    Reader(wav.KIND, wav.is_wav, wav.look, wav.sweep),
    Reader(candump.KIND, candump.is_candump, candump.look, candump.sweep),
    Reader(text_table.KIND, lambda first: True, text_table.look, text_table.sweep),
)
#: Endings under which people know these files.
ENDINGS = ("csv", "txt", "log", "tsv", "wav", "mf4")
_FIRST_BYTES = 4096


def reader_of(first: bytes) -> Reader:
    """The reader of a file that begins so."""
    return next(reader for reader in READERS if reader.is_of(first))


def is_marked(first: bytes) -> bool:
    """Whether a file's first bytes tell that it is a logger's, and no table of text."""
    return reader_of(first).kind != text_table.KIND


def look_at(file: LogFile, remembered: Mapping[str, str] | None = None) -> LogLook:
    """A file's channels, what has to be said of it, and what is wrong in it.

    Parameters
    ----------
    file : LogFile
        The file.
    remembered : mapping, optional
        Names of columns or channels to ours, as the home remembers them for sweeps.

    Raises
    ------
    LogError
        It cannot be read as any recording.
    """
    return _reader(file).look(file, remembered or {})


def sweep_of(file: LogFile, choice: LogChoice) -> LogSweep:
    """The sweep that a file holds by a person's choice.

    Raises
    ------
    LogError
        It cannot be read so; the message says what was expected.
    """
    return _reader(file).sweep(file, choice)


def judged_sweep_of(file: LogFile, choice: LogChoice) -> LogSweep:
    """The same, refusing what nothing may be concluded from.

    The row of its test is not ours here and may name a channel, by which it would be judged.

    Raises
    ------
    LogError
        It cannot be read so, or nothing may be concluded from it.
    """
    sweep = sweep_of(file, choice)
    if sweep.not_judged:
        raise LogError(f"{sweep.not_judged} At the bench it can be kept with its test, unjudged")
    return sweep


@contextmanager
def as_log_file(content: bytes, name: str) -> Iterator[LogFile]:
    """Bytes as a file to be read, gone afterwards."""
    with tempfile.TemporaryDirectory(prefix="log-") as folder:
        path = Path(folder) / "recording"
        path.write_bytes(content)
        yield LogFile(path, name)


def contract_file(sweep: LogSweep, session_id: str) -> tuple[str, bytes]:
    """The contract's file of a sweep, its name first: Parquet of numbers, or CSV of text."""
    ending = ".parquet" if _is_numbers(sweep.samples) else ".csv"
    return f"sweeps-{session_id}{ending}", written(sweep, session_id, ending)


def written(sweep: LogSweep, session_id: str, ending: str) -> bytes:
    """A sweep as the contract's CSV or Parquet.

    Raises
    ------
    LogError
        The ending is another one, or a table of text is asked for as Parquet.
    """
    if ending == ".csv":
        return _as_csv(sweep.samples, session_id)
    if ending != ".parquet":
        raise LogError(f"a sweep is written as .csv or .parquet; expected one of these: {ending!r}")
    if not _is_numbers(sweep.samples):
        raise LogError("a table of text is written as it is; expected a file that ends in .csv")
    return _as_parquet(sweep.samples, session_id)


def _is_numbers(samples: pd.DataFrame) -> bool:
    return all(map(pd.api.types.is_numeric_dtype, samples.dtypes))


def _as_parquet(samples: pd.DataFrame, session_id: str) -> bytes:
    columns = {name: pa.array(samples[name], from_pandas=True) for name in samples.columns}
    table = pa.table({"session_id": pa.repeat(session_id, len(samples)), **columns})
    out = io.BytesIO()
    parquet.write_table(
        table,
        out,
        compression="zstd",
        use_dictionary=[name for name in table.column_names if name != "t_s"],
        column_encoding={"t_s": "BYTE_STREAM_SPLIT"},
    )
    return out.getvalue()


def _as_csv(samples: pd.DataFrame, session_id: str) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["session_id", *samples.columns])
    cells = samples.astype(object).where(samples.notna(), "")
    for row in zip(*(cells[name] for name in samples.columns), strict=True):
        writer.writerow([session_id, *row])
    return out.getvalue().encode()


def _reader(file: LogFile) -> Reader:
    try:
        with file.path.open("rb") as opened:
            return reader_of(opened.read(_FIRST_BYTES))
    except OSError as error:
        raise LogError(f"{file.name} cannot be read: {error.strerror}") from error
