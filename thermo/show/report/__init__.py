"""The report: one page that opens anywhere, made from a result folder."""

from thermo.show.report.contents import REPORT, SHEET, Contents, read_results
from thermo.show.report.page import report_page, sheet_page

__all__ = ["REPORT", "SHEET", "Contents", "read_results", "report_page", "sheet_page"]
