"""The case report: verdict, evidence, the wiring with its measured values, the belief's course."""

from assistant.reports.case_report import render_case, write_report

__all__ = ["render_case", "write_report"]
