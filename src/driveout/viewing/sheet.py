"""The viewing sheet: one HTML file with the plan inside, which a phone walks with no signal."""

import json
from datetime import datetime
from html import escape
from typing import Any

from driveout.faults import Network
from driveout.files import shipped
from driveout.units import minor_digits
from driveout.viewing.car_plan import CarPlan, asked_at, policies_without
from driveout.viewing.fault_viewing import answer_words, outcomes_of, shown_by
from driveout.viewing.packed import packed
from driveout.viewing.policy import Policy, checks_of

SCHEMA = "driveout-sheet/2"


def sheet_html(
    made: CarPlan, policy: Policy, network: Network, *, car_id: int, car_name: str, at: datetime
) -> str:
    """Put plan, checks and cautions into the page.

    Parameters
    ----------
    made
        The plan.
    policy
        Its table, prices in whole units of the currency.
    network
        Names of findings.
    car_id
        Number of the car.
    car_name
        What the person calls it.
    at
        When it was saved.

    Returns
    -------
    str
        HTML that loads nothing and sends nothing.
    """
    unit = 10 ** minor_digits(made.price.currency)
    lacking = policies_without(made, policy)
    asked = asked_at(policy)
    walked = [policy, *lacking.values()]
    used = {one.checks[step] for one in walked for node in one.nodes.values() for step in checks_of(node)}
    data = {
        "schema": SCHEMA,
        "car_id": car_id,
        "car": car_name,
        "currency": made.price.currency,
        "made": at.isoformat(timespec="seconds"),
        "price": made.price.minor // unit,
        "plan": {
            "actions": policy.actions,
            "checks": policy.checks,
            "outcomes": [len(names) for names in policy.outcomes],
            "start": policy.from_position or policy.start,
        },
        "advice": packed(policy),
        "lacking": {check: packed(other, tuple(asked[check])) for check, other in lacking.items()},
        "cards": {check: _card(made, network, check, unit) for check in policy.checks if check in used},
    }
    page = shipped("driveout.viewing", "data/sheet.html").decode()
    return (
        page.replace("{{style}}", shipped("driveout.viewing", "data/sheet.css").decode())
        .replace("{{script}}", shipped("driveout.viewing", "data/sheet.js").decode())
        .replace("{{title}}", escape(car_name))
        .replace("{{data}}", safe_json(data))
    )


def safe_json(data: Any) -> str:
    """JSON that cannot end the script element it stands in, whatever the names hold."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    for sign in "<>&\u2028\u2029":
        text = text.replace(sign, f"\\u{ord(sign):04x}")
    return text


def _card(made: CarPlan, network: Network, check_id: str, unit: int) -> dict[str, Any]:
    """What the page shows of one check."""
    check = made.checks[check_id]
    findings = [network.finding[finding] for finding in check.findings]
    answers = [
        {"words": answer_words(network, check, outcome), "found": shown_by(network, check, outcome)}
        for outcome in outcomes_of(network, check)
    ]
    return {
        "title": findings[0].name if len(findings) == 1 else " / ".join(f.name for f in findings),
        "how": check.how,
        "minutes": check.minutes,
        "money": check.cost / unit,
        "needs": made.needs.get(check_id, ""),
        "caution": check.caution,
        "answers": answers,
    }
