"""The report: one page that opens anywhere, made from a result folder."""

from pathlib import Path

from thermo.errors import WarmstackError, shown
from thermo.show.reading import ResultsError
from thermo.show.report.contents import REPORT, SHEET, Contents, read_results
from thermo.show.report.page import report_page, sheet_page

__all__ = [
    "REPORT", "SHEET", "Contents", "pages_of", "read_results", "report_page", "sheet_page",
]  # fmt: skip


def pages_of(folder: Path) -> dict[str, str]:
    """Report and sheet of a result folder, by the names of their files.

    Raises ResultsError, one line, for a folder that is no result, or one that is damaged.
    """
    name = shown(folder, 200)
    try:
        found = read_results(folder)
        return {REPORT: report_page(found), SHEET: sheet_page(found)}
    except ResultsError:
        raise
    except WarmstackError as error:
        raise ResultsError(f"{name}: {error}") from None
    except Exception as error:  # numbers that fit no result
        what = shown(f"{type(error).__name__}: {error}", 80)
        raise ResultsError(f"{name} is damaged ({what}); estimate the case again") from None
