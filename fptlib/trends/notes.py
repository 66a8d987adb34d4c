"""What intake did and found, collected on the way as remarks."""

from __future__ import annotations

from fptlib.trends.grid import Remark

NOTE = "note"
DOUBT = "doubt"


class Notes:
    """Remarks, in the order in which they came up."""

    def __init__(self) -> None:
        self.remarks: list[Remark] = []

    def note(self, text: str, file: str = "", point: str = "", row: int | None = None) -> None:
        """Something done as told, or harmless."""
        self._add(NOTE, text, file, point, row)

    def doubt(self, text: str, file: str = "", point: str = "", row: int | None = None) -> None:
        """Something a person should look at."""
        self._add(DOUBT, text, file, point, row)

    def _add(self, severity: str, text: str, file: str, point: str, row: int | None) -> None:
        self.remarks.append(Remark(severity, text, file, point, row))
