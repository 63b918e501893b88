"""What nobody should read on a sheet or a page: names out of the code, numbers as a program writes them."""

import re

CODE_WORDS = re.compile(r"\b[a-z]+_[a-z]+|\bTrue\b|\bFalse\b|\bNone\b|\bnan\b|\d\.0\b(?!%)")
