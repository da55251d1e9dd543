"""Values of a Parquet file whose texts are held once."""

from __future__ import annotations

import pyarrow as pa
import pytest

from sitegen.reader.parquet import unpacked


@pytest.mark.parametrize("place", [2, -1])
def test_a_row_that_names_no_text_of_its_dictionary_is_a_broken_file(place: int) -> None:
    """As a long run of the fuzzer found it: the index went beyond the list, or would have counted from its end."""
    rows = pa.DictionaryArray.from_arrays(pa.array([0, None, place]), pa.array(["a", "b"]), safe=False)
    with pytest.raises(pa.ArrowInvalid):
        unpacked(rows)
    assert unpacked(rows[:2]) == ["a", None]
