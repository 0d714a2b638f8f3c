"""CDA against the schema and the sample that HL7 publishes, and against hostile XML.

The schema is that of CDA R2 (ANSI/HL7 CDA R2-2005), as HL7 publishes it; the sample is a C-CDA History and
Physical (CC0). Both are read from the outside material, never copied.
"""

import re
from pathlib import Path
from typing import Any, cast

import pytest
from note_files import codes, only, read, write

from converter.model import Severity
from converter.sources import SourceOptions

VISITS = Path(__file__).parents[2] / "fixtures" / "sources"
HEAD = '<ClinicalDocument xmlns="urn:hl7-org:v3"><id root="2.999.1" extension="a"/>'
TAIL = "</ClinicalDocument>"


def document(text: str, title: str = "<title>Exam</title>") -> str:
    section = f"<component><section>{title}<text>{text}</text></section></component>"
    return f"{HEAD}<component><structuredBody>{section}</structuredBody></component>{TAIL}"


def text_of(tmp_path: Path, narrative: str) -> str:
    (note,), _ = read(write(tmp_path / "a.xml", document(narrative)))
    return note.text


def test_the_fixture_fits_the_schema(outside: Path) -> None:
    from lxml import etree

    schema = outside / "cda" / "schema" / "schema" / "normative" / "infrastructure" / "cda" / "CDA.xsd"
    if not schema.is_file():
        pytest.skip("the outside material holds no CDA schema")
    etree.XMLSchema(etree.parse(str(schema))).assertValid(etree.parse(str(VISITS / "visit.cda.xml")))


def test_the_sample_of_hl7_is_read_whole(outside: Path) -> None:
    """Every word of every section's narrative is there in order, and the header's fields are the sample's."""
    from lxml import etree

    sample = outside / "cda" / "samples" / "History_and_Physical.xml"
    (note,), troubles = read(sample, options=SourceOptions(sections=("all",)))
    assert {trouble.severity for trouble in troubles} <= {Severity.INFORMATION, Severity.WARNING}
    root = etree.parse(str(sample)).getroot()

    def every(path: str) -> list[Any]:
        return cast("list[Any]", root.xpath(path, namespaces={"h": "urn:hl7-org:v3"}))

    def at(path: str) -> str:
        return str(every(path)[0])

    assert note.id == at("h:id/@extension")
    assert note.system == f"urn:oid:{at('h:id/@root')}"
    assert note.patient == at("h:recordTarget/h:patientRole/h:id/@extension")
    assert note.encounter == at("h:componentOf/h:encompassingEncounter/h:id/@extension")
    assert note.author == at("h:author/h:assignedAuthor/h:id/@extension")
    assert note.kind == at("h:code/@displayName")
    assert note.authored == "2012-09-16T19:05-04:00"
    assert note.birth_date == "2005-05-01"
    places = (
        "h:component/h:structuredBody//h:section/h:title | h:component/h:structuredBody//h:section/h:text"
    )
    narratives = every(places)
    assert len(narratives) > 30
    theirs = "".join("".join(one.itertext()) for one in narratives)
    ours = re.sub(r"[|•]", "", note.text)
    assert "".join(ours.split()) == "".join(theirs.split())


def test_the_origin_of_the_sample_is_exact(outside: Path) -> None:
    sample = outside / "cda" / "samples" / "History_and_Physical.xml"
    (note,), _ = read(sample, options=SourceOptions(sections=("all",)))
    with sample.open(encoding="utf-8", newline="") as opened:
        source = opened.read()
    for start, at, length in note.origin:
        ours, theirs = note.text[start : start + length], source[at : at + length]
        assert ours == re.sub(r"\s", " ", theirs) or theirs[0] == "&"


@pytest.mark.parametrize(
    ("narrative", "text"),
    [
        ("<paragraph>a</paragraph><paragraph>b</paragraph>", "Exam\na\nb"),
        ("a<br/>b<br/><br/>c", "Exam\na\nb\n\nc"),
        ("<list><item>a</item><item>b<br/>c</item></list>", "Exam\n• a\n• b\nc"),
        ('<list listType="ordered"><caption>n</caption><item>2+</item></list>', "Exam\nn\n• 2+"),
        ("<content>a</content> <content>b</content>", "Exam\na b"),
        ("a<sub>1</sub><sup>2</sup>", "Exam\na12"),
        ("  KJ   2+\n  AJ   1+\n", "Exam\n  KJ   2+\n  AJ   1+"),
        ("<paragraph>  KJ\n  2+ </paragraph>", "Exam\nKJ 2+"),
        ("&lt;2&#43; &amp; <![CDATA[<3+>]]>", "Exam\n<2+ & <3+>"),
        ("a<!-- not seen -->b", "Exam\nab"),
        (
            "<table><tr><td>Biceps<br/>Knee</td><td>2+<br/>3+</td></tr></table>",
            "Exam\n| Biceps | 2+ |\n| Knee | 3+ |",
        ),
        (
            (
                '<table><tr><td rowspan="2">Knee</td><td>right</td><td>2+</td></tr>'
                "<tr><td>left</td><td>3+</td></tr></table>"
            ),
            "Exam\n| Knee | right | 2+ |\n| Knee | left | 3+ |",
        ),
        (
            '<table><tr><th>Is</th><th colspan="2">Sides</th></tr><tr><td/><td>R</td><td>L</td></tr></table>',
            "Exam\n| Is | Sides |  |\n|  | R | L |",
        ),
        ("<table><tr><td><paragraph>a</paragraph><paragraph>b</paragraph></td></tr></table>", "Exam\na\nb"),
    ],
)
def test_narratives_keep_their_layout(tmp_path: Path, narrative: str, text: str) -> None:
    assert text_of(tmp_path, narrative) == text


def test_deleted_wording_is_left_out_and_said(tmp_path: Path) -> None:
    """CDA R2, narrative block: content/@revised marks what an earlier version held."""
    narrative = 'KJ <content revised="delete">4+</content><content revised="insert">2+</content>'
    (note,), troubles = read(write(tmp_path / "a.xml", document(narrative)))
    assert note.text == "Exam\nKJ 2+"
    only(troubles, "struck-out", Severity.WARNING, line=1)


def test_a_section_without_a_title_is_headed_by_its_code(tmp_path: Path) -> None:
    code = '<code code="29545-1" codeSystem="2.16.840.1.113883.6.1"/>'
    (note,), _ = read(write(tmp_path / "a.xml", document("<paragraph>KJ 2+</paragraph>", code)))
    assert note.text == "Physical examination\nKJ 2+"


def test_prefixed_names_are_the_same_names(tmp_path: Path) -> None:
    content = re.sub(r"<(/?)(\w)", r"<\1c:\2", document("<list><item>KJ 2+</item></list>"))
    (note,), _ = read(write(tmp_path / "a.xml", content.replace("xmlns=", "xmlns:c=")))
    assert (note.id, note.text) == ("a", "Exam\n• KJ 2+")


@pytest.mark.parametrize(
    ("attributes", "content", "text"),
    [
        ('mediaType="text/plain"', "KJ 2+", "KJ 2+"),
        ('mediaType="text/plain" representation="B64"', "S0og\nMis=", "KJ 2+"),
        ('mediaType="text/html" representation="B64"', "PHA+S0ogMis8L3A+", "KJ 2+"),
        ('mediaType="application/rtf" representation="B64"', "e1xydGYxIEtKIDIrfQ==", "KJ 2+"),
    ],
)
def test_a_body_that_is_no_xml_is_unpacked(tmp_path: Path, attributes: str, content: str, text: str) -> None:
    body = f"<component><nonXMLBody><text {attributes}>{content}</text></nonXMLBody></component>"
    (note,), troubles = read(write(tmp_path / "a.xml", f"{HEAD}{body}{TAIL}"))
    assert (note.text, troubles) == (text, [])


@pytest.mark.parametrize(
    ("attributes", "content", "code"),
    [
        ('mediaType="application/pdf" representation="B64"', "JVBERi0=", "attachment-not-text"),
        ('mediaType="text/plain" representation="B64"', "no base64!", "bad-base64"),
        ('mediaType="text/plain"', '<reference value="note.pdf"/>', "attachment-elsewhere"),
    ],
)
def test_a_body_that_holds_no_text_is_said(tmp_path: Path, attributes: str, content: str, code: str) -> None:
    body = f"<component><nonXMLBody><text {attributes}>{content}</text></nonXMLBody></component>"
    notes, troubles = read(write(tmp_path / "a.xml", f"{HEAD}{body}{TAIL}"))
    assert notes == []
    only(troubles, code, Severity.ERROR, line=1)


LAUGHS = (
    '<?xml version="1.0"?>\n<!DOCTYPE lolz [<!ENTITY a "haha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">'
    '<!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;">]>\n'
)
SECRET = '<!DOCTYPE x [<!ENTITY secret SYSTEM "file://{}">]>\n'


@pytest.mark.parametrize("name", ["a.xml", "a", "a.txt"])
@pytest.mark.parametrize("start", [LAUGHS, SECRET, '<!DOCTYPE x SYSTEM "http://127.0.0.1:9/x.dtd">\n'])
def test_entities_are_never_expanded_or_fetched(tmp_path: Path, start: str, name: str) -> None:
    hidden = write(tmp_path / "hidden" / "secret", "the secret word")
    content = start.replace("{}", str(hidden)) + document("&c;&secret;")
    notes, troubles = read(write(tmp_path / name, content), write(tmp_path / "good.txt", "KJ 2+"))
    assert [note.id for note in notes] == ["good"]
    trouble = only(troubles, "xml-doctype", Severity.ERROR, line=2 if start == LAUGHS else 1)
    assert "secret word" not in trouble.message


@pytest.mark.parametrize("depth", [500, 100_000])
@pytest.mark.parametrize("closed", [True, False])
def test_deeply_nested_xml_is_refused(tmp_path: Path, depth: int, closed: bool) -> None:
    narrative = "<content>" * depth + "x" + "</content>" * depth * closed
    notes, troubles = read(write(tmp_path / "a.xml", document(narrative)))
    assert notes == []
    assert codes(troubles)[0] in ("nested-too-deeply", "not-xml")
    assert closed is False or codes(troubles) == ["nested-too-deeply"]


@pytest.mark.parametrize(
    ("content", "code", "line"),
    [
        (document("<paragraph>KJ\n2+"), "not-xml", 2),
        (document("&nbsp;"), "not-xml", 1),
        (document("x")[:-20], "not-xml", 1),
        ('<?xml version="1.0"?><Other/>', "unknown-xml", 1),
        ('<?xml version="1.0"?><ClinicalDocument/>', "unknown-xml", 1),
    ],
)
def test_xml_that_cannot_be_read_is_said_with_its_line(
    tmp_path: Path, content: str, code: str, line: int
) -> None:
    notes, troubles = read(write(tmp_path / "a.xml", content))
    assert notes == []
    only(troubles, code, Severity.ERROR, line=line)


@pytest.mark.parametrize("declared", ["ISO-8859-1", "windows-1252", "UTF-8"])
def test_declared_encodings_are_used(tmp_path: Path, declared: str) -> None:
    content = f'<?xml version="1.0" encoding="{declared}"?>' + document("<paragraph>Réflexe – 2+</paragraph>")
    encoding = "utf-8" if declared == "UTF-8" else "cp1252"
    (note,), troubles = read(write(tmp_path / "a.xml", content.encode(encoding)))
    assert (note.text, troubles) == ("Exam\nRéflexe – 2+", [])


def test_a_wrong_declaration_is_said(tmp_path: Path) -> None:
    content = '<?xml version="1.0" encoding="UTF-8"?>' + document("<paragraph>Réflexe 2+</paragraph>")
    (note,), troubles = read(write(tmp_path / "a.xml", content.encode("cp1252")))
    assert note.text == "Exam\nRéflexe 2+"
    only(troubles, "wrong-encoding", Severity.WARNING, line=1)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
def test_marked_encodings_are_read(tmp_path: Path, encoding: str) -> None:
    content = '<?xml version="1.0"?>' + document("<paragraph>Réflexe 2+</paragraph>")
    (note,), troubles = read(write(tmp_path / "a.xml", content.encode(encoding)))
    assert (note.text, troubles) == ("Exam\nRéflexe 2+", [])


def test_a_time_that_is_no_day_is_said(tmp_path: Path) -> None:
    content = document("x").replace("<component>", '<effectiveTime value="20230230"/><component>', 1)
    (note,), troubles = read(write(tmp_path / "a.xml", content))
    assert note.authored is None
    assert "2023-02-30" in only(troubles, "bad-date", Severity.WARNING).message


def test_a_document_beyond_the_limit(tmp_path: Path) -> None:
    content = document("<paragraph>" + "x " * 1000 + "</paragraph>")
    notes, troubles = read(write(tmp_path / "a.xml", content), options=SourceOptions(largest_note=1000))
    assert notes == []
    only(troubles, "too-large", Severity.ERROR)
