"""The second schema: what the parts keep beyond the first."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the tables and columns."""
    op.create_table(
        "crew_act",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("person", sa.String(length=80), nullable=False),
        sa.Column("path", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "crew_person",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("role", sa.String(length=10), nullable=False),
        sa.Column("joined_at", sa.String(length=40), nullable=False),
        sa.Column("left_at", sa.String(length=40), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "faults_shared",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("file", sa.Integer(), nullable=False),
        sa.Column("weight", sa.Float(), nullable=False),
        sa.Column("rows", sa.JSON(), nullable=False),
        sa.Column("counts", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("file"),
    )
    op.create_table(
        "lessons_shared",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("weight", sa.Float(), nullable=False),
        sa.Column("jobs", sa.JSON(), nullable=False),
        sa.Column("fault_rows", sa.Integer(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("counts", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "store_written",
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("times", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.create_table(
        "crew_device",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=80), nullable=False),
        sa.Column("key_hash", sa.String(length=64), nullable=False),
        sa.Column("paired_at", sa.String(length=40), nullable=False),
        sa.Column("seen_at", sa.String(length=40), nullable=True),
        sa.Column("taken_away_at", sa.String(length=40), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["crew_person.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("key_hash"),
    )
    op.create_table(
        "crew_invitation",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("person_id", sa.Integer(), nullable=False),
        sa.Column("secret_hash", sa.String(length=64), nullable=False),
        sa.Column("made_at", sa.String(length=40), nullable=False),
        sa.Column("ends_at", sa.String(length=40), nullable=False),
        sa.Column("used_at", sa.String(length=40), nullable=True),
        sa.ForeignKeyConstraint(
            ["person_id"],
            ["crew_person.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("secret_hash"),
    )
    op.create_table(
        "faults_aside",
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("aside", sa.Boolean(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("car_id"),
    )
    op.create_table(
        "workshop_brought",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("car_id", sa.Integer(), nullable=False),
        sa.Column("phone", sa.String(length=80), nullable=False),
        sa.Column("made", sa.String(length=40), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("record", sa.JSON(), nullable=False),
        sa.Column("settled", sa.JSON(), nullable=False),
        sa.Column("at", sa.String(length=40), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["car_id"],
            ["cars_car.id"],
        ),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("car_id", "digest"),
    )
    with op.batch_alter_table("workshop_brought", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_workshop_brought_car_id"), ["car_id"], unique=False)

    with op.batch_alter_table("outlook_point", schema=None) as batch_op:
        batch_op.add_column(sa.Column("finish_p10", sa.String(length=10), nullable=True))
        batch_op.add_column(sa.Column("finish_p50", sa.String(length=10), nullable=True))
        batch_op.add_column(sa.Column("finish_p80", sa.String(length=10), nullable=True))
        batch_op.add_column(sa.Column("finish_p90", sa.String(length=10), nullable=True))
        batch_op.add_column(sa.Column("sale_p10", sa.String(length=10), nullable=True))
        batch_op.add_column(sa.Column("sale_p50", sa.String(length=10), nullable=True))
        batch_op.add_column(sa.Column("sale_p90", sa.String(length=10), nullable=True))
