"""What strangers made, read in a process of its own, within limits, or refused in one sentence.

Whatever reads a file that a person was given goes through ``door.read_untrusted``.

Not here: what a file of a kind means (`intake/`, `condition/`, `appraisal/`).
"""
