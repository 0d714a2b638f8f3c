"""The control words of RTF that matter to the text, from the Rich Text Format Specification, version 1.9.1.

What is not here changes only the looks of the text.
"""

CHARACTERS = {
    "tab": "\t",
    "emdash": "\u2014",
    "endash": "\u2013",
    "emspace": "\u2003",
    "enspace": "\u2002",
    "qmspace": "\u2005",
    "bullet": "\u2022",
    "lquote": "\u2018",
    "rquote": "\u2019",
    "ldblquote": "\u201c",
    "rdblquote": "\u201d",
}
"""Words that stand for a character."""

SYMBOLS = {"~": "\xa0", "_": "\u2011", "{": "{", "}": "}", "\\": "\\"}
"""A backslash and a mark that stand for a character; an optional hyphen (`\\-`) stands for nothing."""

LINE_ENDS = frozenset(("par", "line", "sect", "page", "column", "softline", "nestrow", "\r", "\n"))
"""Words after which the text goes on in a new line."""


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


LEFT_OUT = _words("""
    fonttbl colortbl stylesheet listtable listoverridetable rsidtbl revtbl info pict objdata fldinst template
    generator themedata colorschememapping latentstyles datastore xmlnstbl filetbl bkmkstart bkmkend listname
    leveltext levelnumbers pgptbl mmathPr nonshppict shprslt shpinst sp sn sv objclass objname userprops
    docvar ffname ffdeftext ffl ffstattext ffhelptext pnseclvl nonesttables passwordhash xe tc ftnsep ftnsepc
    ftncn aftnsep aftnsepc aftncn atnid atnauthor atndate atnref picprop blipuid
""")
"""Groups that hold no text of the document."""

ASIDE = _words("header headerl headerr headerf footer footerl footerr footerf annotation")
"""Groups that hold text beside the document: page heads and feet, comments. Left out, and said."""

NUMBERS = frozenset(("listtext", "pntext"))
"""Groups that hold the number or bullet of a list item."""

CODE_PAGES = {"ansi": "cp1252", "mac": "mac_roman", "pc": "cp437", "pca": "cp850"}

NUMBERED_CODE_PAGES = {65001: "utf-8", 10000: "mac_roman"}
"""The numbers in `ansicpg` that do not name their code page with `cp` before them."""
"""The header's word for the character set."""

CHARSETS = {
    77: "mac_roman", 128: "cp932", 129: "cp949", 130: "johab", 134: "gbk", 136: "big5", 161: "cp1253",
    162: "cp1254", 163: "cp1258", 177: "cp1255", 178: "cp1256", 186: "cp1257", 204: "cp1251", 222: "cp874",
    238: "cp1250", 254: "cp437", 255: "cp850",
}  # fmt: skip
"""`\\fcharset` of a font -> its code page; other fonts have the document's."""

SYMBOL_CHARSET = 2
SYMBOL_FONT = {
    0xA3: "\u2264", 0xAB: "\u2194", 0xAC: "\u2190", 0xAD: "\u2191", 0xAE: "\u2192", 0xAF: "\u2193",
    0xB0: "\xb0", 0xB1: "\xb1", 0xB3: "\u2265", 0xB4: "\xd7", 0xB7: "\u2022", 0xB9: "\u2260", 0xBB: "\u2248",
    0x2B: "+", 0x2D: "-", 0x3D: "=", 0x2F: "/", 0x28: "(", 0x29: ")", 0x20: " ",
    **{code: chr(code) for code in range(0x30, 0x3A)},
}  # fmt: skip
"""Characters of the font Symbol that notes are likely to hold (arrows of plantar responses, degrees ...).

From the Adobe Symbol encoding, from memory."""
