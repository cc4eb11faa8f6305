"""Who practises: one name for all forms of a page, and what is kept under it."""

from collections.abc import Callable
from datetime import date
from typing import Any, ClassVar

from matchkit.files.progress import progress_path
from matchkit.forms import parts as ui
from matchkit.workflows.practising import Learner, learner_of

FOLDER = "practice"


def today() -> str:
    """The day, YYYY-MM-DD."""
    return date.today().isoformat()


class LearnerField:
    """The learner's name, one for all forms of a page, and what is kept under it."""

    shared: ClassVar[list[ui.Field]] = []

    def __init__(self, problems: Any, entered: Callable[[], None]) -> None:
        if not self.shared:
            self.shared.append(ui.Field("Your name (nothing is kept without one)", "", str))
        self.text = self.shared[0].text
        self.box = self.shared[0].box
        self.learner = Learner()
        self.text.observe(ui.safe(lambda: self._enter(entered), problems), names="value")
        self._read()

    def _enter(self, entered: Callable[[], None]) -> None:
        self._read()
        entered()

    def _read(self) -> None:
        name = self.text.value
        self.learner = learner_of(progress_path(FOLDER, name)) if name.strip() else Learner()

    def now(self) -> Learner:
        """The learner, with what other forms of the page have kept meanwhile."""
        if self.learner.path:
            self.learner = learner_of(self.learner.path)
        return self.learner
