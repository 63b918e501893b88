"""What a person needs to know: a value, whether to buy, sell or mend, as frozen dataclasses of facts.

Not here: SQL, files, sentences or charts; a command or a page asks here and reckons nothing itself.
"""
