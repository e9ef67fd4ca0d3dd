"""Cases a piece at a time, so that memory stays flat however large the district is."""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
import numpy.typing as npt

from preplan.planning.fireground import PIECE_CASES

Integer = TypeVar("Integer", bound=np.integer[Any])


def in_pieces(rows: npt.NDArray[Integer], each: int = 1) -> list[npt.NDArray[Integer]]:
    """Part rows into pieces of no more than `PIECE_CASES` cases, `each` a row; of no rows there is no piece.

    >>> [len(piece) for piece in in_pieces(np.arange(PIECE_CASES + 1))]
    [16384, 1]
    """
    step = PIECE_CASES // each
    return [rows[first : first + step] for first in range(0, len(rows), step)]
