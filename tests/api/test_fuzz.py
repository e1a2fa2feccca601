"""The document against the app, by requests made from it: every reply is as documented.

ARROWLOFT_FUZZ_EXAMPLES sets how many requests each operation is sent (50 if unset).
"""

import os

import hypothesis
import schemathesis
from schemathesis.config import SchemathesisConfig
from schemathesis.specs.openapi.checks import allow_header_conformance, unsupported_method

from arrowloft.app import create_app

EXAMPLES = int(os.environ.get("ARROWLOFT_FUZZ_EXAMPLES", "50"))

# A valid form may still ask for what cannot be: a target beyond reach, a bound left. The
# bounds of quantities stand in the descriptions, as JSON Schema knows none of texts.
schema = schemathesis.openapi.from_wsgi(
    "/openapi.json",
    create_app(),
    config=SchemathesisConfig.from_dict(
        {
            "checks": {
                "positive_data_acceptance": {"expected-statuses": ["2xx", "404", "422"]},
                # 413 too, which it does not expect: what is made wrong may be longer than is read.
                "negative_data_rejection": {"expected-statuses": ["4xx"]},
            }
        }
    ),
)


@schema.parametrize()
@hypothesis.settings(
    max_examples=EXAMPLES,
    deadline=None,
    suppress_health_check=list(hypothesis.HealthCheck),
    derandomize=EXAMPLES <= 50,
)
def test_replies_are_as_documented(case: schemathesis.Case) -> None:
    # OpenAPI 3.1 cannot list QUERY, which the computations answer and name in Allow.
    more = "x-query" in case.operation.definition.raw
    case.call_and_validate(
        excluded_checks=[allow_header_conformance, unsupported_method] if more else []
    )
