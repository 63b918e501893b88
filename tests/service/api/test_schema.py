"""The OpenAPI document holds: no answer that it does not tell of, no failure of the server, whatever is sent."""

from pathlib import Path
from typing import Any

import httpx
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import CHECKS
from schemathesis.generation.modes import GenerationMode

from pricing.store import Market
from pricing.store_tokens import new_token
from tests.service.api.servers import copied, serving

HELD = (
    "not_a_server_error",
    "status_code_conformance",
    "content_type_conformance",
    "response_headers_conformance",
    "response_schema_conformance",
    "allow_header_conformance",
)
