"""Thousands of calls made from the description of the interface: none breaks the running app.

`MUSTWRIGHT_CASES=4 pytest tests/integration/test_schema.py` makes four times as many.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import schemathesis
from hypothesis import HealthCheck, Phase, settings
from schemathesis.checks import not_a_server_error

from batches import plan
from cases import scaled
from mustwright.services.batch.record import start_batch
from mustwright.services.batch.tokens import new_token
from mustwright.store.cellar_store import CellarStore
from serving import serving

CASES = scaled(2000)


def now() -> datetime:
    return datetime.now(UTC)


def test_no_call_breaks_the_app(tmp_path):
    store = CellarStore(tmp_path / "cellar.db", now)
    start = now() - timedelta(hours=30)
    slug = start_batch(store.ledger, plan(), "a", now=start, pitched_at=start).slug
    _, secret = new_token(store.ledger, slug, "device", "float")
    _, calendar = new_token(store.ledger, None, "calendar", "phone")
    store.close()
    made, answered = 0, {}

    def call(case) -> None:
        nonlocal made
        made += 1
        if made % 3:  # two of three reach the batch that is there, with its token
            named = {"slug": slug, "secret": calendar}
            case.path_parameters = {k: named[k] for k in case.path_parameters or {}}
            case.headers = {**(case.headers or {}), "Authorization": f"Bearer {secret}"}
        response = case.call(base_url=address)
        answered[response.status_code] = answered.get(response.status_code, 0) + 1
        case.validate_response(response, checks=[not_a_server_error])

    with serving(tmp_path, "--port", "0", "--no-seed") as address:
        schema = schemathesis.openapi.from_url(f"{address}/openapi.json")
        operations = [result.ok() for result in schema.get_all_operations()]
        each = -(-CASES // len(operations))
        while made < CASES:  # the few calls without parameters are soon all made
            for operation in operations:
                _many(operation, call, each)
    print(f"calls {made}, answers {dict(sorted(answered.items()))}")
    assert made >= CASES
    assert not [status for status in answered if status >= 500]
    assert answered.get(200, 0) > made / 10, "hardly any call got through"


def _many(operation, call, count: int) -> None:
    import hypothesis

    checks = [HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large]

    @settings(
        max_examples=count,
        phases=[Phase.generate],
        suppress_health_check=checks,
    )
    @hypothesis.given(case=operation.as_strategy())
    def run(case) -> None:
        call(case)

    run()
