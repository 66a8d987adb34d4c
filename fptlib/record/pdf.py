"""The record out of its PDF, and a look at the whole document for what a record's PDF never has.

A PDF can run actions, carry further files and show other pages after an update at its end. The
pages of a record do none of that, so whatever can act or hide is refused, wherever in the
document it stands. What is printed on the pages is not compared here: ``pages`` does that where
it can.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import Any

from fptlib.errors import RecordError

RECORD_NAME = "record.json"
# ISO 32000-2: actions (12.6), forms (12.7), what plays or is drawn by another program (13), further
# files (7.11, 14.13), and layers that show on one screen and not on another (8.11).
_ACTING = {"/OpenAction", "/AA", "/JS", "/JavaScript", "/URI", "/AcroForm", "/XFA", "/RichMedia",
           "/RichMediaContent", "/Movie", "/Sound", "/3DD", "/OCProperties", "/Collection",
           "/Threads", "/Alternates", "/OPI", "/Ref"}
_ACTIONS = {"/Launch", "/GoToR", "/GoToE", "/SubmitForm", "/ImportData", "/Rendition", "/Named",
            "/JavaScript", "/URI", "/Hide", "/SetOCGState", "/Movie", "/Sound", "/Thread"}
_MOST_OBJECTS = 200_000


def record_of_pdf(data: bytes) -> bytes:
    """The signed record that a PDF carries; whether it is good is ``verify``'s matter.

    Raises:
        RecordError: the file is no PDF, does not carry exactly one record, or holds something
            that a record's PDF never has.
    """
    from pypdf import PdfReader
    from pypdf.errors import PyPdfError

    try:
        reader = PdfReader(io.BytesIO(data))
        attached = reader.attachments
        found = [part for name in attached for part in _each(attached[name])]
        strange = _strange(reader, data)
    except (PyPdfError, ValueError, KeyError, TypeError, AttributeError, OSError,
            RecursionError) as error:
        raise RecordError(f"this PDF cannot be read: {type(error).__name__}") from error
    if len(found) != 1 or RECORD_NAME not in attached:
        raise RecordError(f"this PDF carries {len(found)} attachments; it must carry the record "
                          "and nothing beside it")
    if strange:
        raise RecordError(f"this PDF holds what the PDF of a record never has: {strange}; ask for "
                          "the record's own file, NNNN.json")
    return found[0]


def _each(attached: bytes | list[bytes]) -> list[bytes]:
    return [attached] if isinstance(attached, bytes) else list(attached)


def _strange(reader: Any, data: bytes) -> str:
    """What does not belong into a record's PDF, or nothing."""
    if data.count(b"%%EOF") != 1 or data.rstrip()[-5:] != b"%%EOF":
        return "an update behind its end"
    files = 0
    for entry in _dictionaries(reader):
        if acting := _ACTING & set(entry) or _ACTIONS & {entry.get("/S")}:
            return f"something that acts or hides ({sorted(acting)[0]})"
        if entry.get("/Type") == "/Annot" or "/Rect" in entry:
            if entry.get("/Subtype") != "/Link":
                return f"an annotation over its pages ({entry.get('/Subtype')})"
        files += entry.get("/Type") == "/Filespec" or "/EF" in entry
    return "a second file" if files != 1 else ""


def _dictionaries(reader: Any) -> Iterator[Any]:
    """Every dictionary of the document, those that no page leads to as well."""
    from pypdf.generic import DictionaryObject

    numbers = [(number, generation) for generation, table in reader.xref.items()
               for number in table]
    numbers += [(number, 0) for number in reader.xref_objStm]
    if len(numbers) > _MOST_OBJECTS:
        raise ValueError("more objects than a record's PDF has")
    found: list[Any] = [reader.trailer["/Root"].get_object()]
    found += [reader.get_object(_reference(reader, *each)) for each in numbers]
    while found:
        here = found.pop()
        if isinstance(here, DictionaryObject):
            yield here
        inside = here.values() if isinstance(here, DictionaryObject) else \
            here if isinstance(here, list) else ()
        # What is referred to is an object of its own and comes by its number.
        found += [each for each in inside if isinstance(each, DictionaryObject | list)]


def _reference(reader: Any, number: int, generation: int) -> Any:
    from pypdf.generic import IndirectObject

    return IndirectObject(number, generation, reader)
