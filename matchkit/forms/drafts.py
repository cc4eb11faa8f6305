"""What stands in a form's fields, kept in the book at every change, and put back."""

import asyncio
import base64
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from typing import Any

import ipywidgets as w
from traitlets import TraitError

from matchkit.errors import InputError

ENTRIES = (w.Text, w.Dropdown, w.RadioButtons, w.Checkbox, w.ToggleButton, w.FileUpload)
Content = dict[str, Any]


class Draft:
    """Hands what stands in the fields below `box` to `keep`, soon after any of them changes.

    Fields are told apart by their label, and by their order where two have the same one.
    """

    def __init__(self, box: Any, keep: Callable[[Content], None]) -> None:
        self.box, self.keep = box, keep
        self.last: Content = {}
        self.seen: set[str] = set()
        self.waiting = self.filling = False
        self._watch(box)
        self.last = self.content()

    def content(self) -> Content:
        """Every entry by its field."""
        return {key: _plain(each) for key, each in self._entries().items()}

    def fill(self, content: Mapping[str, Any]) -> None:
        """Put entries back, each into its field as far as there is one that takes it."""
        self.filling = True
        try:
            for key, value in content.items():
                field = self._entries().get(key)
                if field is not None and _plain(field) != value:
                    _put(field, value)
        finally:
            self.filling = False
        self.last = self.content()

    def _entries(self) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for each in {each.model_id: each for each in _below(self.box)}.values():
            if isinstance(each, ENTRIES):
                label, k = each.description.removeprefix("Show ").removeprefix("Hide "), 0
                while (key := f"{label} {k}") in found:
                    k += 1
                found[key] = each
        return found

    def _watch(self, widget: Any) -> None:
        """Fields that are there, and those that come later."""
        for each in _below(widget):
            if each.model_id in self.seen:
                continue
            self.seen.add(each.model_id)
            if isinstance(each, w.Box):
                each.observe(lambda change: self._watch(change["owner"]), names="children")
            elif isinstance(each, ENTRIES):
                each.observe(self._changed, names="value")

    def _changed(self, _: object) -> None:
        """Keep it when the press that changed it is done, which may change more."""
        if self.filling or self.waiting:
            return
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            self._keep()
            return
        self.waiting = True
        loop.call_soon(self._keep)

    def _keep(self) -> None:
        self.waiting = False
        content = self.content()
        if content != self.last:
            self.last = content
            try:
                self.keep(content)
            except InputError:
                return  # a book that can't be written now says so where something is written


def _below(widget: Any) -> Iterator[Any]:
    yield widget
    for child in getattr(widget, "children", ()):
        yield from _below(child)


def _plain(field: Any) -> Any:
    """An entry as JSON holds it: a choice by its words, files with what is in them."""
    if isinstance(field, w.FileUpload):
        return [
            {
                "name": each["name"],
                "type": each["type"],
                "content": base64.b64encode(bytes(each["content"])).decode("ascii"),
            }
            for each in field.value
        ]
    if isinstance(field, w.ToggleButton):  # what it made is to be there for what was typed in it
        return field.value or getattr(field, "made", False)
    return field.label if isinstance(field, w.Dropdown | w.RadioButtons) else field.value


def _put(field: Any, value: Any) -> None:
    try:
        if isinstance(field, w.FileUpload):
            field.value = tuple(_file(each) for each in value)
        elif isinstance(field, w.Dropdown | w.RadioButtons):
            field.label = value
        else:
            field.value = value
    except TraitError:
        return  # what was chosen is no longer there to be chosen


def _file(kept: Mapping[str, str]) -> dict[str, Any]:
    content = base64.b64decode(kept["content"])
    return {
        "name": kept["name"],
        "type": kept["type"],
        "size": len(content),
        "content": memoryview(content),
        "last_modified": datetime.now(UTC),
    }
