"""Two people changed the same thing: what the later one typed beside what stands now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser

_OWN = frozenset({"csrf", "once", "version"})


@dataclass
class StandingField:
    """One field of a form as it is drawn now."""

    name: str
    label: str = ""
    values: list[str] = field(default_factory=list)
    options: dict[str, str] = field(default_factory=dict)
    is_hidden: bool = False


@dataclass
class StandingForm:
    """A form as it is drawn now."""

    label: str = ""
    fields: dict[str, StandingField] = field(default_factory=dict)

    @property
    def version(self) -> str:
        """Version that the form would change."""
        held = self.fields.get("version")
        return held.values[0] if held and held.values else ""

    def fits(self, typed: Mapping[str, str]) -> bool:
        """Whether it is about the same row: its hidden fields hold what was sent."""
        return all(
            typed.get(one.name) in one.values
            for one in self.fields.values()
            if one.is_hidden and one.name not in _OWN
        )


@dataclass(frozen=True)
class Side:
    """One field in both versions."""

    label: str
    typed: str
    stands: str

    @property
    def differs(self) -> bool:
        """Whether the two say different things."""
        return self.typed.split() != self.stands.split()


class _Forms(HTMLParser):
    """Reads the forms of one of our own pages that lead to one address."""

    def __init__(self, action: str) -> None:
        super().__init__(convert_charrefs=True)
        self.action = action
        self.found: list[StandingForm] = []
        self.form: StandingForm | None = None
        self.by_id: dict[str, str] = {}
        self.labels: dict[str, list[str]] = {}
        self.label: str | None = None
        self.inside: StandingField | None = None
        self.option: str | None = None
        self.tag = ""
        self.waiting: list[str] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note forms, labels and fields."""
        has = {key: value or "" for key, value in attrs}
        if tag == "form":
            here = has.get("action", "").partition("?")[0] == self.action
            self.form = StandingForm(has.get("aria-label", "")) if here else None
            if self.form is not None:
                self.found.append(self.form)
        elif self.form is not None and tag == "label":
            self.label = has.get("for", "")
            self.waiting = self.labels.setdefault(self.label, [])
        elif self.form is not None and tag in ("input", "select", "textarea") and has.get("name"):
            self._field(tag, has)
        elif tag == "option" and self.inside is not None:
            self.option = has.get("value", "")
            self.inside.options[self.option] = ""
            if "selected" in has or not self.inside.values:
                self.inside.values[:] = [self.option]

    def _field(self, tag: str, has: dict[str, str]) -> None:
        assert self.form is not None
        one = self.form.fields.setdefault(has["name"], StandingField(has["name"]))
        kind = has.get("type", "text")
        one.is_hidden = one.is_hidden or kind == "hidden"
        if has.get("id"):
            self.by_id[has["id"]] = one.name
        if self.label == "" and self.waiting is not None:
            # A label around its box: the words come after.
            one.label = one.label or "\0"
            self.inside_label = one
        if tag == "input" and kind in ("checkbox", "radio"):
            if "checked" in has:
                one.values.append(has.get("value", "on"))
        elif tag == "input" and kind != "file":
            one.values.append(has.get("value", ""))
        elif tag in ("select", "textarea"):
            self.inside, self.tag = one, tag
            if tag == "textarea":
                one.values.append("")

    def handle_data(self, data: str) -> None:
        """Note the words of labels, options and text areas."""
        if self.inside is not None and self.tag == "textarea":
            self.inside.values[-1] += data
        elif self.inside is not None and self.option is not None:
            self.inside.options[self.option] += data.strip()
        elif self.waiting is not None:
            self.waiting.append(data)

    def handle_endtag(self, tag: str) -> None:
        """Close what was opened."""
        if tag == "label" and self.waiting is not None and self.form is not None:
            words = " ".join("".join(self.waiting).split())
            boxed = [one for one in self.form.fields.values() if one.label == "\0"]
            for one in boxed:
                one.label = words
            if self.label == "":
                self.labels.pop("", None)
            self.waiting = self.label = None
        elif tag == "option":
            self.option = None
        elif tag == self.tag:
            if self.tag == "textarea" and self.inside is not None:
                # The first line break of a text area is not part of its text (HTML standard).
                self.inside.values[-1] = self.inside.values[-1].removeprefix("\n")
            self.inside, self.tag = None, ""
        elif tag == "form" and self.form is not None:
            for key, words_found in self.labels.items():
                name = self.by_id.get(key)
                if name in self.form.fields:
                    self.form.fields[name].label = " ".join("".join(words_found).split())
            self.form, self.labels, self.by_id = None, {}, {}


def standing_form(page: str, action: str, typed: Mapping[str, str]) -> StandingForm | None:
    """Find, on the page as it is drawn now, the form that was sent.

    Parameters
    ----------
    page
        HTML of our own page.
    action
        Address that the form was sent to, without its query.
    typed
        What was sent, last value by name.

    Returns
    -------
    StandingForm or None
        The form with what stands now; None when it is not there any more, as when a row was taken out.
    """
    reader = _Forms(action)
    reader.feed(page)
    reader.close()
    with_version = [one for one in reader.found if "version" in one.fields and one.fits(typed)]
    shared = [one for one in with_version if set(typed) - _OWN <= set(one.fields)]
    return next(iter(shared or with_version), None)


def typed_beside(lists: Mapping[str, list[str]], stands: StandingForm) -> list[Side]:
    """Every field that a person can see, as typed and as it stands, in the order of the form."""
    sides = []
    for one in stands.fields.values():
        if one.name in _OWN or one.is_hidden:
            continue

        def words(values: list[str], held: StandingField = one) -> str:
            return ", ".join(held.options.get(value, value) for value in values if value)

        sides.append(Side(one.label or one.name, words(lists.get(one.name, [])), words(one.values)))
    return sides
