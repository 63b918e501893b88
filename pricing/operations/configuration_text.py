"""A configuration as the text of a configuration file, to be read and to be kept."""

from collections.abc import Mapping
from dataclasses import fields
from pathlib import Path

from pricing.operations.configuration import Configuration, masked, read_file, variable
from pricing.toml_text import toml_line


def configuration_text(
    configuration: Configuration, environment: Mapping[str, str], file: Path | None
) -> str:
    """TOML with a remark at every key: what it is, and whether its value is the default, the file's or the
    environment's. Passwords in addresses are masked.

    >>> text = configuration_text(Configuration(port=8600), {"PRICING_PORT": "8600"}, None)
    >>> "port = 8600  # environment" in text.splitlines()
    True
    """
    of_file = {} if file is None else read_file(file)
    lines = []
    for asked in fields(configuration):
        value = getattr(configuration, asked.name)
        given = environment.get(variable(asked.name))
        source = "default" if given is None else "file" if of_file.get(asked.name) == given else "environment"
        line = toml_line(asked.name, masked(value) if isinstance(value, str) else value)
        lines += [f"# {asked.metadata['about']}", f"{line.rstrip()}  # {source}"]
    return "\n".join(lines) + "\n"
