"""How things are written in a language: the locale, the catalogues, the reader of a page, words of lists.

Not here: what is said of a fact (a file a subject, beside this folder).
"""
