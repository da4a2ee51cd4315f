"""The first schema: every table of the record, and the guards of those that only grow."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

APPEND_ONLY = ("cars_event", "money_entry", "money_posting", "money_link", "money_closed")


def upgrade() -> None:
    """Make the tables and their guards."""
    op.create_table(
        "cars_car",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("stage", sa.String(length=20), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("made_year", sa.Integer(), nullable=True),
        sa.Column("mileage_km", sa.Integer(), nullable=True),
        sa.Column("vin", sa.String(length=40), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("added_at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "faults_pack",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "money_bank_layout",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
    )
    op.create_table(
        "money_closed",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("through", sa.Date(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "money_entry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("what", sa.String(length=400), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("token", sa.String(length=100), nullable=True),
        sa.Column("booked_at", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("token"),
    )
    op.create_index(op.f("ix_money_entry_day"), "money_entry", ["day"], unique=False)
    op.create_table(
        "rules_own",
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("rules", sa.JSON(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("currency"),
    )
    op.create_table(
        "wear_seller_rule",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("place", sa.String(length=80), nullable=False),
        sa.Column("counts", sa.JSON(), nullable=False),
        sa.Column("window", sa.String(length=20), nullable=False),
        sa.Column("months", sa.Integer(), nullable=False),
        sa.Column("stop_at", sa.Integer(), nullable=False),
        sa.Column("origin", sa.String(length=400), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "cars_event",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("seq", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("summary", sa.Text(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("previous", sa.String(length=64), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("car_id", "seq"),
    )
    op.create_table(
        "faults_finding",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("finding", sa.String(length=80), nullable=False),
        sa.Column("outcome", sa.String(length=80), nullable=False),
        sa.Column("origin", sa.String(length=20), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("undone", sa.Boolean(), nullable=False),
        sa.Column("undone_at", sa.String(length=40), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_faults_finding_car_id"), "faults_finding", ["car_id"], unique=False)
    op.create_table(
        "hunt_advert",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("original", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("shown", sa.Text(), nullable=False),
        sa.Column("items", sa.JSON(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_hunt_advert_car_id"), "hunt_advert", ["car_id"], unique=False)
    op.create_table(
        "lessons_closing",
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("closed_at", sa.String(length=40), nullable=False),
        sa.Column("standing", sa.Boolean(), nullable=False),
        sa.Column("why", sa.String(length=400), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("car_id"),
    )
    op.create_table(
        "lessons_estimate",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("frozen_at", sa.String(length=40), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_lessons_estimate_car_id"), "lessons_estimate", ["car_id"], unique=False)
    op.create_table(
        "lessons_ratio",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("measure", sa.String(length=10), nullable=False),
        sa.Column("kind", sa.String(length=200), nullable=False),
        sa.Column("low", sa.Float(), nullable=False),
        sa.Column("likely", sa.Float(), nullable=False),
        sa.Column("high", sa.Float(), nullable=False),
        sa.Column("estimate", sa.Float(), nullable=False),
        sa.Column("actual", sa.Float(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("counts", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_lessons_ratio_car_id"), "lessons_ratio", ["car_id"], unique=False)
    op.create_table(
        "market_appraisal",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("value", sa.BigInteger(), nullable=False),
        sa.Column("low", sa.BigInteger(), nullable=False),
        sa.Column("high", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("log_mean", sa.Float(), nullable=False),
        sa.Column("log_sd", sa.Float(), nullable=False),
        sa.Column("used", sa.Integer(), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_market_appraisal_car_id"), "market_appraisal", ["car_id"], unique=False)
    op.create_table(
        "market_comparable",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("price", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("facts", sa.JSON(), nullable=False),
        sa.Column("taken_out", sa.Boolean(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_market_comparable_car_id"), "market_comparable", ["car_id"], unique=False)
    op.create_table(
        "money_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("link", sa.String(length=100), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["money_entry.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_money_link_entries", "money_link", ["link", "entry_id"], unique=False)
    op.create_index(op.f("ix_money_link_entry_id"), "money_link", ["entry_id"], unique=False)
    op.create_table(
        "money_planned",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=10), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("what", sa.String(length=200), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("standing", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_money_planned_car_id"), "money_planned", ["car_id"], unique=False)
    op.create_table(
        "money_posting",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("entry_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("account", sa.String(length=200), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("commodity", sa.String(length=10), nullable=False),
        sa.ForeignKeyConstraint(
            ["entry_id"],
            ["money_entry.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_money_posting_entry_id"), "money_posting", ["entry_id"], unique=False)
    op.create_index(
        "ix_money_posting_sums", "money_posting", ["account", "commodity", "amount"], unique=False
    )
    op.create_table(
        "outlook_point",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("profit_p10_minor", sa.BigInteger(), nullable=True),
        sa.Column("profit_p50_minor", sa.BigInteger(), nullable=True),
        sa.Column("profit_p90_minor", sa.BigInteger(), nullable=True),
        sa.Column("profit_mean_minor", sa.BigInteger(), nullable=True),
        sa.Column("loss_chance", sa.Float(), nullable=True),
        sa.Column("hours_p10", sa.Float(), nullable=True),
        sa.Column("hours_p50", sa.Float(), nullable=True),
        sa.Column("hours_p90", sa.Float(), nullable=True),
        sa.Column("days_p10", sa.Float(), nullable=True),
        sa.Column("days_p50", sa.Float(), nullable=True),
        sa.Column("days_p90", sa.Float(), nullable=True),
        sa.Column("ceiling_minor", sa.BigInteger(), nullable=True),
        sa.Column("binding", sa.String(length=20), nullable=False),
        sa.Column("wage_mark_minor", sa.BigInteger(), nullable=True),
        sa.Column("missing", sa.Text(), nullable=False),
        sa.Column("breakdown", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_outlook_point_car_id"), "outlook_point", ["car_id"], unique=False)
    op.create_table(
        "parts_part",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("line_key", sa.String(length=60), nullable=False),
        sa.Column("what", sa.String(length=200), nullable=False),
        sa.Column("quantity", sa.String(length=20), nullable=False),
        sa.Column("number", sa.String(length=60), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("offer_id", sa.Integer(), nullable=True),
        sa.Column("ordered_on", sa.Date(), nullable=True),
        sa.Column("expected_on", sa.Date(), nullable=True),
        sa.Column("received_on", sa.Date(), nullable=True),
        sa.Column("fits", sa.Boolean(), nullable=True),
        sa.Column("return_by", sa.Date(), nullable=True),
        sa.Column("warranty_until", sa.Date(), nullable=True),
        sa.Column("receipt", sa.Integer(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_parts_part_car_id"), "parts_part", ["car_id"], unique=False)
    op.create_table(
        "repairs_chosen",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("repair", sa.String(length=120), nullable=False),
        sa.Column("choice", sa.String(length=40), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("car_id", "repair"),
    )
    op.create_index(op.f("ix_repairs_chosen_car_id"), "repairs_chosen", ["car_id"], unique=False)
    op.create_table(
        "repairs_limits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("wage_minor", sa.BigInteger(), nullable=False),
        sa.Column("value_minor", sa.BigInteger(), nullable=True),
        sa.Column("budget_minor", sa.BigInteger(), nullable=True),
        sa.Column("hours", sa.Float(), nullable=True),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("car_id"),
    )
    op.create_table(
        "selling_ask",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("ask", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_selling_ask_car_id"), "selling_ask", ["car_id"], unique=False)
    op.create_table(
        "selling_enquiry",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_selling_enquiry_car_id"), "selling_enquiry", ["car_id"], unique=False)
    op.create_table(
        "selling_offer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("buyer", sa.String(length=200), nullable=False),
        sa.Column("advice", sa.JSON(), nullable=False),
        sa.Column("answer", sa.String(length=20), nullable=False),
        sa.Column("counter_at", sa.BigInteger(), nullable=True),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("answered_at", sa.String(length=40), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_selling_offer_car_id"), "selling_offer", ["car_id"], unique=False)
    op.create_table(
        "selling_plan",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("situation", sa.JSON(), nullable=False),
        sa.Column("deadline", sa.Date(), nullable=False),
        sa.Column("plan", sa.JSON(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_selling_plan_car_id"), "selling_plan", ["car_id"], unique=False)
    op.create_table(
        "wear_maker_limit",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("side", sa.String(length=5), nullable=False),
        sa.Column("spot", sa.String(length=40), nullable=False),
        sa.Column("typed", sa.String(length=60), nullable=False),
        sa.Column("origin", sa.String(length=400), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("car_id", "quantity", "side", "spot"),
    )
    op.create_index(op.f("ix_wear_maker_limit_car_id"), "wear_maker_limit", ["car_id"], unique=False)
    op.create_table(
        "wear_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("topic", sa.String(length=20), nullable=False),
        sa.Column("spot", sa.String(length=40), nullable=False),
        sa.Column("entries", sa.JSON(), nullable=False),
        sa.Column("day", sa.String(length=10), nullable=False),
        sa.Column("km", sa.Float(), nullable=True),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_wear_reading_car_id"), "wear_reading", ["car_id"], unique=False)
    op.create_table(
        "workshop_job",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("assembly", sa.String(length=120), nullable=False),
        sa.Column("kind_of_work", sa.String(length=200), nullable=False),
        sa.Column("own_file", sa.Text(), nullable=False),
        sa.Column("variants", sa.JSON(), nullable=False),
        sa.Column("targets", sa.JSON(), nullable=False),
        sa.Column("began", sa.String(length=40), nullable=True),
        sa.Column("is_closed", sa.Boolean(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_workshop_job_car_id"), "workshop_job", ["car_id"], unique=False)
    op.create_table(
        "parts_offer",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part_id", sa.Integer(), nullable=False),
        sa.Column("shop", sa.String(length=200), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("price", sa.BigInteger(), nullable=False),
        sa.Column("shipping", sa.BigInteger(), nullable=False),
        sa.Column("core", sa.BigInteger(), nullable=False),
        sa.Column("lead_days", sa.Integer(), nullable=False),
        sa.Column("condition", sa.String(length=10), nullable=False),
        sa.Column("warranty_days", sa.Integer(), nullable=False),
        sa.Column("return_days", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["part_id"],
            ["parts_part.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_parts_offer_part_id"), "parts_offer", ["part_id"], unique=False)
    op.create_table(
        "workshop_done",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("task", sa.String(length=160), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["workshop_job.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "task"),
    )
    op.create_index(op.f("ix_workshop_done_job_id"), "workshop_done", ["job_id"], unique=False)
    op.create_table(
        "workshop_link",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("link", sa.String(length=120), nullable=False),
        sa.Column("taken_out", sa.Integer(), nullable=False),
        sa.Column("put_back", sa.Integer(), nullable=False),
        sa.Column("thrown_away", sa.Integer(), nullable=False),
        sa.Column("fitted_new", sa.Integer(), nullable=False),
        sa.Column("undone_at", sa.String(length=40), nullable=True),
        sa.Column("back_at", sa.String(length=40), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["workshop_job.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "link"),
    )
    op.create_index(op.f("ix_workshop_link_job_id"), "workshop_link", ["job_id"], unique=False)
    op.create_table(
        "workshop_passage",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("task", sa.String(length=160), nullable=False),
        sa.Column("open_keys", sa.JSON(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["workshop_job.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index(op.f("ix_workshop_passage_job_id"), "workshop_passage", ["job_id"], unique=False)
    op.create_table(
        "workshop_recorded",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=160), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["workshop_job.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "key"),
    )
    op.create_index(op.f("ix_workshop_recorded_job_id"), "workshop_recorded", ["job_id"], unique=False)
    op.create_table(
        "workshop_torque",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job_id", sa.Integer(), nullable=False),
        sa.Column("link", sa.String(length=120), nullable=False),
        sa.Column("entry", sa.JSON(), nullable=False),
        sa.Column("applied", sa.String(length=80), nullable=False),
        sa.Column("applied_note", sa.Text(), nullable=False),
        sa.Column("applied_at", sa.String(length=40), nullable=True),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["job_id"],
            ["workshop_job.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("job_id", "link"),
    )
    op.create_index(op.f("ix_workshop_torque_job_id"), "workshop_torque", ["job_id"], unique=False)
    for table in APPEND_ONLY:
        guard(table)


def guard(table: str) -> None:
    """Let a table only grow: the database itself refuses to change or remove its rows."""
    words = f"{table} only grows; put a mistake right with a new line"
    if op.get_bind().dialect.name == "sqlite":
        for act in ("update", "delete"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{act} BEFORE {act.upper()} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{words}'); END"
            )
        return
    op.execute(
        f"CREATE FUNCTION {table}_guard() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{words}'; END $$"
    )
    for act in ("update", "delete"):
        op.execute(
            f"CREATE TRIGGER {table}_no_{act} BEFORE {act.upper()} ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {table}_guard()"
        )
