"""Numpy and Python values as Arrow arrays by their buffers.

``pyarrow.array`` first imports pandas, to see whether it was handed a pandas object: half a second and 40 MB that a
logger starting on a busy laptop has no use for.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

NO_TIME = np.iinfo(np.int64).min
"""Stands in an array of device times where a reading has none."""
Column = np.ndarray[Any, Any]
_DTYPES = {"int64": np.int64, "double": np.float64, "uint16": np.uint16, "int16": np.int16}
_KINDS = {"int16": pa.int16(), "int32": pa.int32(), "int64": pa.int64(), "uint16": pa.uint16(), "float64": pa.float64()}


def from_numpy(values: NDArray[Any], there: NDArray[np.bool_] | None = None) -> Any:
    """Arrow array over a numpy array (no copy where it is contiguous); ``there`` False is null.

    >>> from_numpy(np.array([1, 2]), np.array([True, False])).to_pylist()
    [1, None]
    """
    bitmap = None if there is None else pa.py_buffer(np.packbits(there, bitorder="little").tobytes())
    data = pa.py_buffer(np.ascontiguousarray(values))
    return pa.Array.from_buffers(_KINDS[values.dtype.name], values.size, [bitmap, data])


def strings(texts: Sequence[str]) -> Any:
    """Arrow array of texts; characters that are no Unicode become question marks.

    >>> strings(["1.2 deg", ""]).to_pylist()
    ['1.2 deg', '']
    """
    data = "".join(texts).encode("utf-8", "replace")
    lengths = list(map(len, texts))
    if len(data) != sum(lengths):
        lengths = [len(text.encode("utf-8", "replace")) for text in texts]
    offsets = np.zeros(len(texts) + 1, dtype=np.int32)
    np.cumsum(lengths, out=offsets[1:])
    return pa.Array.from_buffers(pa.utf8(), len(texts), [None, pa.py_buffer(offsets), pa.py_buffer(data)])


def to_numpy(column: Any) -> Column:
    """Chunked Arrow column as one numpy array; times as int64, `NO_TIME` for null; no copy of a single chunk."""
    chunks = column.chunks
    if len(chunks) == 1:
        return array_to_numpy(chunks[0])
    return np.concatenate([array_to_numpy(chunk) for chunk in chunks]) if chunks else np.zeros(0)


def array_to_numpy(array: Any) -> Column:
    """Like `to_numpy`, of one array."""
    kind = array.type
    if pa.types.is_timestamp(kind):
        array, kind = array.view(pa.int64()), pa.int64()
        if array.null_count:
            array = array.fill_null(NO_TIME)
    if array.null_count or not pa.types.is_primitive(kind):
        return np.asarray(array.to_pylist(), dtype=object)
    width = kind.bit_width // 8
    return np.frombuffer(array.buffers()[1], _DTYPES[str(kind)], len(array), array.offset * width)
