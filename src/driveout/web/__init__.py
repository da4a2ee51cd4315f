"""The page frame: forms, templates, the gate before every request. Knows no part of the job."""

from driveout.web.forms import Form, PostedForm, Upload, form_of
from driveout.web.frame import (
    Chapter,
    Frame,
    Tx,
    Undo,
    header_of,
    now,
    page,
    reading,
    submit,
    taste_for,
    typed_number,
    writing,
)

__all__ = [
    "Chapter",
    "Form",
    "Frame",
    "PostedForm",
    "Tx",
    "Undo",
    "Upload",
    "form_of",
    "header_of",
    "now",
    "page",
    "reading",
    "submit",
    "taste_for",
    "typed_number",
    "writing",
]
