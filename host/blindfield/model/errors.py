"""Every error a user can meet: what happened, to which device, what to do next.

BlindfieldError
├── ConfigError              field.toml, key file, command line values
├── LinkError
│   ├── LinkLost             was there, is gone
│   ├── LinkBusy             somebody else holds it
│   ├── LinkAbsent           no such port or device
│   └── LinkDenied           the operating system does not let us
├── ProtocolError
│   ├── VersionError         the two sides speak different majors
│   └── Refused              the device said no, with a code
├── NotReady                 the field is not fit for a start
├── NotConfirmedSilent       a carrier may still be sending
└── LogbookError             the record cannot be read or written
"""

from __future__ import annotations


class BlindfieldError(Exception):
    """One sentence for the user: `what` happened, to which `device`, and the `remedy`."""

    def __init__(self, what: str, *, device: str | None = None, remedy: str = "") -> None:
        self.what = what
        self.device = device
        self.remedy = remedy
        super().__init__(str(self))

    def __str__(self) -> str:
        where = f"{self.device}: " if self.device else ""
        then = f" {self.remedy}" if self.remedy else ""
        return f"{where}{self.what}{then}"


class ConfigError(BlindfieldError):
    pass


class LinkError(BlindfieldError):
    pass


class LinkLost(LinkError):
    pass


class LinkBusy(LinkError):
    pass


class LinkAbsent(LinkError):
    pass


class LinkDenied(LinkError):
    pass


class ProtocolError(BlindfieldError):
    pass


class VersionError(ProtocolError):
    pass


class Refused(ProtocolError):
    """The device refused; `code` is one of `fieldcore.wire`'s refusal codes."""

    def __init__(
        self, what: str, *, code: int, device: str | None = None, remedy: str = ""
    ) -> None:
        self.code = code
        super().__init__(what, device=device, remedy=remedy)


class NotReady(BlindfieldError):
    pass


class NotConfirmedSilent(BlindfieldError):
    pass


class LogbookError(BlindfieldError):
    pass
