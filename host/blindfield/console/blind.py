"""What would tell where targets lie waits for the end of a run: one refusal for every command."""

from __future__ import annotations

from blindfield.logbook.book import Logbook
from blindfield.model.errors import NotReady


def refuse_while_open(logbook: Logbook, also: str = "") -> None:
    """Raises NotReady while any run of this logbook is open. `also`: a further way out."""
    if logbook.open_runs():
        raise NotReady(
            "a run is open on this field, and where its targets lie stays blind until it is "
            "closed.",
            remedy="End it first; one that a crash left open is closed by `blindfield devices`. In "
            "an emergency `blindfield silence` shows every place at once." + also,
        )
