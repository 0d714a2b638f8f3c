"""The grammar of reflex notes: one function per sentence shape, with its EBNF in the docstring.

Takes the tokens of one sentence and what earlier sentences said; gives drafts of findings and marks the
tokens it used. Leaves scales, exams and numbering to the reader.
"""
