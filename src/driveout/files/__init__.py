"""Reading the person's own files so that every complaint names file, line and key."""

from driveout.files.tables import Row, Table, csv_table
from driveout.files.yaml_files import Document, shipped, yaml_document

__all__ = ["Document", "Row", "Table", "csv_table", "shipped", "yaml_document"]
