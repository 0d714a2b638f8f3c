"""Good files of every form that notes come in, and the pieces that damage to each may put in.

All notes in them hold the words in SECRET, which are too many for a name and may stand in no message.
Nobody in them is real.
"""

import csv
import gzip
import io
import json
import re
import zipfile
from functools import cache
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory

from fuzz_damage import parted

FIXTURES = Path(__file__).parents[2] / "fixtures"
SECRET = "velvet marmot asleep on a sofa"

NOTES = [
    {
        "id": "V-1",
        "text": f"Reflexes: knee jerks 2+/3+, {SECRET}.",
        "patient": "P-1",
        "authored": "2031-05-06",
    },
    {"id": "V-2", "text": f"Ankle jerk absent on the left,\n{SECRET} 1+.", "patient": "P-2", "age": "71"},
    {"id": "V-3", "text": f'No clonus. "{SECRET}", toes down.', "author": "E-7", "birth_date": "1970-01"},
]
FIELDS = ["id", "text", "patient", "author", "authored", "age", "birth_date"]

ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "latin-1", "cp437")

_ANY = (
    *parted(rb"""
    \ , | -1 0 99999999999999999999 1e999 NaN 2031-02-30 utf-16 { } [ ]
    """),
    *(b'\x00', b'\xff', b'\xfe\xff', b'\xff\xfe', b'\xef\xbb\xbf', b'\xe9', b'\xc3', b'\xed\xa0\x80'),
    *(b'\x85', b'\x1a', b'\x1b[31m', b'"', b"'", b'\xc2\xa0', b'\xe2\x80\xa8', b'\xf0\x9f\x94\xa8'),
    *(b'\xcc\x81', b'\xef\xbf\xbe', b'\xf4\x90\x80\x80', b'\x0c', b'\x0b', b'\r', b'\n', b'\r\n', b'\t'),
    *(b' ', b'KJ 2+'),
)  # fmt: skip
_MARKUP = (
    *parted(rb"""
    < > </ /> <!-- --> <![CDATA[ ]]> & &amp; &#0; &#x110000; &#xD800; &nope; <br/> <table><tr><td>
    </td></tr></table> <ul><li> </li></ul> <pre> <script> <style> <title/> <del> <div> <svg> <math>
    <template> <plaintext> <frameset> <section> <text> <paragraph> <sub> <sup> &#8203; <textarea>
    """),
    *(b'nullFlavor="UNK"', b"<!DOCTYPE a [<!ENTITY b 'c'>]>", b'<?xml version="1.0" encoding="utf-7"?>'),
    *(b'<?x y?>', b'<td rowspan="99999999" colspan="-1">', b' xmlns="urn:x"', b' value="x"', b' id="x"'),
    *(b'<content styleCode="Bold">', b'<text mediaType="x">', b'<meta charset=zlib>', b'<a href=x>'),
)  # fmt: skip
_HL7 = (
    *parted(rb"""
    | ^ ~ & \ \F\ \.br\ \X0D\ \XZZ\ \X\ \C2842\ \.sp+9999\ \M\ \H\ ^Base64^ |ED| |RP| |FT| ADT^A08
    8859/1 \.in-9\ \.ti+3\
    """),
    *(b'\x1c', b'""', b'\rOBX|', b'\rMSH|^~\\&|', b'\rMSH', b'\rMSH|||||', b'\rOBR|1||', b'\rNTE|1||x'),
    *(b'\rPID|', b'\rBTS|', b'\x0b', b'\rDSC|1', b'\rADD|', b'\rTXA|', b'\rEVN|', b'\rMRG|'),
    *(b'UNICODE UTF-8', b'ISO IR87', b'\\.sk 5\\'),
)  # fmt: skip
_RTF = (
    *parted(rb"""
    { } \ \* \u233? \u55357? \ansicpg \ansicpg0 \ansicpg12 \ansicpg9999999999 \ansicpg65001 \fcharset
    \fcharset255 {\fonttbl \trowd \cell \row \nestcell \intbl \par \line {\object \u \sect \tab
    """),
    *(b"\\'e9", b"\\'zz", b'\\u-4000 ?', b'\\uc0 ', b'\\uc99 ', b'\\bin5 ', b'\\bin-9 '),
    *(b'\\bin999999999 ', b'\\fcharset128 ', b'\\f99 ', b'\\plain ', b'\\v ', b'\\v0 ', b'\\strike '),
    *(b'{\\pict ', b'{\\field{\\*\\fldinst x}{\\fldrslt ', b'{\\header ', b'\\mac ', b'\\pc '),
    *(b'\\pca ', b'\\deleted ', b'{\\footnote ', b'{\\*\\shptxt ', b'{\\listtext '),
)  # fmt: skip
_JSON = (
    *parted(rb"""
    null true {} [] "" {"a": "\ud800" "\u0000" : "resourceType":"Bundle" "text": "id": "entry":[ "resource":
    "valueString":"x" "div":"<div>x</div>" "data":"!" "contentType":"text/rtf" "section":[{}] "_div":{}
    "contentType":"text/plain;charset=zip" "reference":"#x" "component":[{}] [[[[[[[[ "identifier":{"value":1}
    "status":"entered-in-error"
    """),
)  # fmt: skip
_TABLE = (b"id,text\n", b'""', b";", b"\t", b"text", b"\r", b"a,b,c,d,e,f,g\n", b'"\n"', b"ID", b"Text,text")


def _rows(delimiter: str) -> bytes:
    buffer = io.StringIO(newline="")
    writer = csv.DictWriter(buffer, FIELDS, delimiter=delimiter, lineterminator="\n")
    writer.writeheader()
    writer.writerows(NOTES)
    return buffer.getvalue().encode()


def _visit(name: str) -> bytes:
    """One of the shared example files with the secret words in its notes."""
    content = (FIXTURES / "sources" / name).read_bytes().decode("utf-8")
    marked, count = re.subn(
        r"(Power full|Tone normal|Biceps|[Kk]nee jerks|Brisker)", rf"\1 {SECRET}", content
    )
    return marked.encode() if count else content.encode()


@cache
def parquet() -> bytes:
    """The notes as a Parquet file."""
    import duckdb

    with TemporaryDirectory() as folder, duckdb.connect() as database:
        values = ", ".join(
            "(" + ", ".join("'" + note.get(name, "").replace("'", "''") + "'" for name in FIELDS) + ")"
            for note in NOTES
        )
        target = Path(folder) / "notes.parquet"
        database.execute(f"COPY (SELECT * FROM (VALUES {values}) t({', '.join(FIELDS)})) TO '{target}'")
        return target.read_bytes()


def zstd(content: bytes) -> bytes:
    """Content packed as zstd (RFC 8878)."""
    try:
        module = import_module("compression.zstd")
    except ImportError:
        module = import_module("backports.zstd")
    packed: bytes = module.compress(content)
    return packed


def zipped(members: dict[str, bytes]) -> bytes:
    """An archive of these files, always the same bytes."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name, (2031, 5, 6, 0, 0, 0)), content)
    return buffer.getvalue()


@cache
def good_files() -> dict[str, tuple[bytes, tuple[bytes, ...]]]:
    """Content and pieces by file name."""
    text = f"Réflexe – {NOTES[0]['text']}\nAnkles absent."
    plain = {
        f"{name}.txt": (text.replace("–", "-").encode(name), _ANY)
        for name in ENCODINGS
        if name != "utf-8-sig"
    }
    lines = "".join(json.dumps(note) + "\n" for note in NOTES).encode()
    tables = {
        "notes.csv": (_rows(","), _ANY + _TABLE),
        "semicolons.csv": (_rows(";"), _ANY + _TABLE),
        "notes.tsv": (_rows("\t"), _ANY + _TABLE),
        "notes.jsonl": (lines, _ANY + _JSON),
        "utf-16.csv": (_rows(",").decode().encode("utf-16"), _ANY + _TABLE),
        "utf-16.jsonl": (lines.decode().encode("utf-16"), _ANY + _JSON),
    }
    pieces = {
        ".hl7": _ANY + _HL7,
        ".rtf": _ANY + _RTF,
        ".html": _ANY + _MARKUP,
        ".xml": _ANY + _MARKUP,
        ".json": _ANY + _JSON,
        ".ndjson": _ANY + _JSON,
    }
    visits = {
        file.name: (_visit(file.name), pieces[file.suffix])
        for file in sorted((FIXTURES / "sources").iterdir())
        if file.suffix in pieces
    }
    packed = {
        "notes.parquet": (parquet(), _ANY),
        "notes.csv.gz": (gzip.compress(_rows(","), mtime=0), _ANY),
        "notes.jsonl.zst": (zstd(lines), _ANY),
        "notes.zip": (
            zipped({"a.csv": _rows(","), "b.rtf": visits["visit.rtf"][0], "c/d.txt": b"KJ 2+"}),
            _ANY,
        ),
    }
    return plain | tables | visits | packed
